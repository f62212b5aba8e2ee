"""One direction for the four sides of a frame, and for the frames of a strip.

A camera's gate is a rectangle: where its sides disagree by no more than they are known to, all
four tell how the frame lies, better than one side alone. Where they disagree by more, that is
keystone (or no rectangle at all) and it stays.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from glassine.locate.refine import Doubles, Edge
from glassine.locate.sides import BOTTOM, LEFT, RIGHT, TOP

# The spread of places along an edge says too little of its direction: neighbours err together
# (measured: the true error is three times as large), and no edge is known better than this (px).
UNDERSTATED, FLOOR_PX = 3.0, 0.1
# Directions that differ by more than this many times their error are different.
APART = 2.0
# How far (degrees) film wanders from frame to frame in a camera's gate.
WANDER = 0.03


@dataclass
class Lie:
    """How a frame lies: turn (degrees) with its error, and half the difference of each pair.

    half: of top and bottom, of left and right, degrees; 0 where they agree within their errors.
    """

    turn: float
    error: float
    half: tuple[float, float]


def usable(edge: Edge | None) -> bool:
    """Whether an edge is seen well enough to say how the frame lies."""
    return edge is not None and edge.share >= 0.3 and edge.residual < 1.5


def error_of(edge: Edge) -> float:
    """Return the error (degrees) of an edge's direction."""
    length = float(np.hypot(*(edge.q - edge.p)))
    return float(np.degrees(np.hypot(UNDERSTATED * edge.slope_error, FLOOR_PX / max(length, 1))))


def turn_of(p: Doubles, q: Doubles, side: int) -> float:
    """Return by how much (degrees) a side from p to q, clockwise, makes the frame turned."""
    along = q - p
    turn = float(np.degrees(np.arctan2(along[1], along[0]))) - 90 * (side - TOP)
    return (turn + 180) % 360 - 180


def turns_of(edges: list[Edge | None]) -> list[float | None]:
    """Return by how much (degrees) each side makes the frame turned, None where not usable."""
    out: list[float | None] = []
    for side, edge in enumerate(edges):
        if edge is None or not usable(edge):
            out.append(None)
            continue
        out.append(turn_of(edge.p, edge.q, side))
    return out


def lie_of(edges: list[Edge | None]) -> Lie | None:
    """Return how the frame lies, or None where too few sides show or they make no rectangle."""
    turns = turns_of(edges)
    known: list[tuple[float, float]] = []
    halves = []
    for first, second in ((TOP, BOTTOM), (LEFT, RIGHT)):
        a, b, e, f = turns[first], turns[second], edges[first], edges[second]
        half = 0.0
        if a is not None and b is not None and e is not None and f is not None:
            half = _kept((b - a) / 2, np.hypot(error_of(e), error_of(f)) / 2)
        halves.append(half)
        for turn, edge, sign in ((a, e, 1), (b, f, -1)):
            if turn is not None and edge is not None:
                known.append((turn + sign * half, error_of(edge)))
    if len(known) < 3:
        return None
    at, error = np.array(known).T
    weight = 1 / error**2
    turn = float((at * weight).sum() / weight.sum())
    if (np.abs(at - turn) > np.maximum(4 * error, 0.1)).any():
        return None
    return Lie(turn, float(1 / np.sqrt(weight.sum())), (halves[0], halves[1]))


def _kept(half: float, error: float) -> float:
    """Return half a difference, less what chance may have made of it."""
    if abs(half) <= APART * error:
        return 0.0
    return half * (1 - (APART * error / half) ** 2)


def together(frames: list[list[Edge | None]]) -> list[list[Edge | None]]:
    """Return the edges of the frames of one strip (or of one frame), turned to agree."""
    lies = [lie_of(edges) for edges in frames]
    seen = [lie for lie in lies if lie is not None]
    if not seen:
        return frames
    usual = float(np.median([lie.turn for lie in seen]))
    weight = np.array([1 / (lie.error**2 + WANDER**2) for lie in seen])
    near = np.array([abs(lie.turn - usual) < 0.3 for lie in seen])
    mean = float((np.array([lie.turn for lie in seen]) * weight * near).sum())
    mean = mean / float((weight * near).sum()) if near.any() else usual
    out = []
    for edges, lie in zip(frames, lies, strict=True):
        if lie is None:
            out.append(edges)
            continue
        turn = lie.turn
        if len(seen) > 1 and abs(turn - usual) < 0.3:
            own = WANDER**2 / (WANDER**2 + lie.error**2)
            turn = mean + own * (turn - mean)
        out.append(_turned(edges, turn, lie.half))
    return out


def _turned(edges: list[Edge | None], turn: float, half: tuple[float, float]) -> list[Edge | None]:
    """Return the usable edges, turned about the points where they are known best."""
    off = {TOP: -half[0], BOTTOM: half[0], LEFT: -half[1], RIGHT: half[1]}
    out: list[Edge | None] = []
    for side, edge in enumerate(edges):
        if edge is None or not usable(edge):
            out.append(edge)
            continue
        angle = np.deg2rad(turn + off[side] + 90 * (side - TOP))
        along: Doubles = np.array([np.cos(angle), np.sin(angle)])
        reach = [float((end - edge.pivot) @ along) for end in (edge.p, edge.q)]
        p, q = (edge.pivot + r * along for r in reach)
        out.append(replace(edge, p=p, q=q))
    return out
