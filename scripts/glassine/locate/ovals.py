"""Oval openings of dark masks, as the reduced copy shows them."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from glassine.locate.sides import Line
from glassine.locate.view import Floats, Patch, any_of


def oval_of(
    patch: Patch, level: Floats, limit: float, previous: list[Line] | None
) -> tuple[float, float, float, float, float] | None:
    """Return (cx, cy, width, height, angle) of an oval opening in a dark mask, or None."""
    lit = np.asarray(any_of((patch.v - level) < -limit), np.uint8)
    if previous is not None:
        h, w = lit.shape
        shut = 0.02 * min(h, w)
        lit[: int(max(0, previous[1].at) + shut)] = 0
        lit[int(h - max(0, previous[3].at) - shut) :] = 0
        lit[:, : int(max(0, previous[0].at) + shut)] = 0
        lit[:, int(w - max(0, previous[2].at) - shut) :] = 0
    return oval_in(lit, nested=previous is not None)


def oval_in(
    lit: npt.NDArray[np.uint8], nested: bool
) -> tuple[float, float, float, float, float] | None:
    """Return (cx, cy, width, height, angle) of the oval that an opening's pixels make, or None.

    nested: whether the slide's own edges were found.
    """
    lit = np.asarray(cv2.morphologyEx(lit, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8)), np.uint8)
    contours, _ = cv2.findContours(lit, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    big = [c for c in contours if len(c) > 20 and cv2.contourArea(c) > 0.01 * lit.size]
    if not big:
        return None
    hull = cv2.convexHull(np.concatenate(big))
    filled = cv2.contourArea(hull)
    _, _, wide, high = cv2.boundingRect(hull)
    if not 0.70 < filled / (wide * high) < 0.86:
        return None
    # Evenly spaced points of the outline that lie on the hull.
    mask = np.zeros(lit.shape, np.uint8)
    cv2.drawContours(mask, [hull], -1, 1, -1)
    points = np.concatenate(big)[:, 0].astype(np.float32)
    inner = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    on = inner[points[:, 1].astype(int), points[:, 0].astype(int)] <= 2.5
    if on.sum() < 40:
        return None
    points = points[on] + np.float32(0.5)
    (cx, cy), (a, b), angle = cv2.fitEllipseDirect(points)
    for _ in range(2):
        t = np.deg2rad(angle)
        d = points - (cx, cy)
        u, v = d @ (np.cos(t), np.sin(t)), d @ (-np.sin(t), np.cos(t))
        g = np.hypot(u / (a / 2), v / (b / 2))
        off = np.abs(g - 1)
        keep = off < max(3 * float(np.median(off)), 0.004)
        if keep.sum() < 40:
            return None
        (cx, cy), (a, b), angle = cv2.fitEllipseDirect(points[keep])
    turn = round(angle / 90) * 90
    w, h = (a, b) if turn % 180 == 0 else (b, a)
    # Points all around, and close to the curve, or it is no oval.
    around = np.unique(np.round(np.arctan2(v, u)[off < 0.012] * 36 / np.pi))
    if float(np.median(off)) > 0.008 or len(around) < 42:
        return None
    if max(a, b) < 1.1 * min(a, b) and nested:
        return cx, cy, w, h, 0.0  # nearly a circle: the slide's own edges tell its direction
    return cx, cy, w, h, angle - turn


def lines_of_oval(oval: tuple[float, float, float, float, float], h: int, w: int) -> list[Line]:
    """Return the sides of the box around an oval in a patch of h x w px."""
    cx, cy, ow, oh, angle = oval
    t = np.tan(np.deg2rad(angle))
    # In each side's facing: columns from that side, rows along it.
    return [
        Line(cx - ow / 2 - t * (h / 2 - cy), -t, h / 2, 0.9),
        Line(cy - oh / 2 + t * (w / 2 - cx), t, w / 2, 0.9),
        Line(w - cx - ow / 2 + t * (h / 2 - cy), t, h / 2, 0.9),
        Line(h - cy - oh / 2 - t * (w / 2 - cx), -t, w / 2, 0.9),
    ]
