"""What the codes in the margin of a piece of film say together: numbers of frames, and how it lies.

A code alone is a hint. Two that agree in film, reading direction, and number by place count, where
no other speaks against them; a frame has the number of the code next to its centre (common
practice, no source). What lies midway between two numbers has none.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from glassine.locate import edge_codes, rebate
from glassine.locate.edge_codes import HALF_MM, Code
from glassine.locate.rebate import Band, Piece
from glassine.locate.scene import Master
from glassine.locate.view import View

# Two codes agree where number and place differ by no more than this (half frames), and so much more
# for each half frame between them: the scale is known to two hundredths.
_AGREE, _AGREE_EACH = 0.12, 0.02
# A frame has a number where its centre is nearer to that code than this (half frames, 0.5 is midway
# to the next one), and a code that counts no further off than this (mm).
_NEAR, _REACH_MM = 0.44, 40.0
# Px per mm of the reduced copy from which codes are read in it.
_ROUGH_PX_PER_MM = 7.0


@dataclass(frozen=True)
class Told:
    """What is told of a piece. numbers: {frame: number on the film}; stock: product and generation
    of the film, None where no two codes agree in it; forward: whether its codes read from left to
    right with the film's edge down, as they do with the base toward the camera, None where that is
    not told; counted: codes that agree; others: those that were read besides; against: in words,
    why numbers are not told though codes were read.
    """

    piece: Piece
    numbers: dict[int, str] = field(default_factory=dict)
    stock: str | None = None
    forward: bool | None = None
    side: int = 1
    counted: tuple[Code, ...] = ()
    others: tuple[Code, ...] = ()
    against: str = ""


def told(master: Master, view: View, piece: Piece, reversal: bool) -> Told | None:
    """Return what the codes of a piece say, None where it shows none.

    view: of the reduced copy. reversal: whether its pictures are positives, whose codes are clear.
    """
    sides = _sides_with_clock(view, piece)
    if not sides:
        return None
    best: Told | None = None
    for bands in _bands(master, view, piece, sides):
        channels = (None, 1, 0) if bands[0].density.shape[2] == 3 else (None,)
        # Reading costs five times as much as this question.
        shown = {channel: _with_clock(bands, channel) for channel in channels}
        for sign in (-1, 1) if reversal else (1, -1):
            for channel in channels:
                found = _of_bands(piece, shown[channel], channel, sign)
                if found is not None and (found.numbers or found.against):
                    return found
                best = best or found
    return best


def _with_clock(bands: list[Band], channel: int | None) -> list[Band]:
    """Return the margins that may have codes, by one channel or the mean of red and green."""
    return [band for band in bands if edge_codes.shows_clock(edge_codes.plain(band, channel, 1))]


def _sides_with_clock(view: View, piece: Piece) -> list[Band]:
    """Return the margins that may have codes, by the reduced copy."""
    return _with_clock([rebate.rough(view, piece, side) for side in (1, -1)], None)


def _bands(master: Master, view: View, piece: Piece, seen: list[Band]) -> Iterator[list[Band]]:
    """Yield the margins as they are looked at: where the reduced copy is not enough, in the
    master's own pixels."""
    if piece.mm / view.reduction >= _ROUGH_PX_PER_MM:
        yield seen
    if view.reduction > 1:
        yield [rebate.fine(master, view.white, piece, band.side) for band in seen]


def _of_bands(piece: Piece, bands: list[Band], channel: int | None, sign: int) -> Told | None:
    plains = {band.side: edge_codes.plain(band, channel, sign) for band in bands}
    codes = [code for one in plains.values() for code in edge_codes.readings(one)]
    if not codes:
        return None
    chains = _chains(codes)
    for chain in chains:
        _extended(chain, plains[chain[0].side])
    return concluded(piece, codes, chains)


# ------------------------------------------------------------------ codes that agree


def _direction(code: Code) -> int:
    return 1 if code.forward else -1


def agree(one: Code, other: Code) -> bool:
    """Return whether two codes are of one film and lie as far apart as their numbers say."""
    if (one.side, one.forward, one.text.stock) != (other.side, other.forward, other.text.stock):
        return False
    if one.text.half is None or other.text.half is None:
        return one.text.half is other.text.half
    apart = other.text.half - one.text.half
    if apart == 0:
        return False
    off = apart - _direction(one) * (other.at - one.at) / HALF_MM
    return abs(off) <= _AGREE + _AGREE_EACH * abs(apart)


def _chains(codes: Sequence[Code]) -> list[list[Code]]:
    """Return the codes in groups that agree, the greatest first."""
    left, found = list(codes), []
    while left:
        groups = [[one, *(each for each in left if agree(one, each))] for one in left]
        most = max(groups, key=lambda group: (len(group), sum(each.like for each in group)))
        found.append(most)
        left = [each for each in left if each not in most]
    return found


def _extended(chain: list[Code], one: edge_codes.Plain) -> None:
    """Add to codes that agree those of their neighbours that show, though they were not read."""
    first = chain[0]
    if first.text.half is None:
        return
    width = one.evened.shape[1] / rebate.PX_PER_MM
    halves = {code.text.half for code in chain}
    steps = int(width / HALF_MM) + 1
    for step in range(-steps, steps + 1):
        half = first.text.half + step
        at = first.at + _direction(first) * step * HALF_MM
        if half in halves or not 0 <= half < edge_codes.MOST_HALVES:
            continue
        if not one.band.start + 6 < at < one.band.start + width - 6:
            continue
        text = replace(first.text, half=half)
        code = edge_codes.expected(one, text, at, first.forward)
        if code is not None and any(agree(code, each) for each in chain):
            chain.append(code)


# ------------------------------------------------------------------ what they say


def concluded(piece: Piece, codes: Sequence[Code], chains: Sequence[Sequence[Code]]) -> Told:
    """Return what groups of codes say of a piece. codes: as they were read."""
    sure = [chain for chain in chains if _counts(chain)]
    counted = tuple(code for chain in sure for code in chain)
    others = tuple(code for code in codes if code not in counted)
    first = max(codes, key=lambda code: code.like)
    plain = Told(piece, side=first.side, others=tuple(codes))
    if not sure:
        return plain
    ways = {(code.side, code.forward) for code in counted}
    if len(ways) > 1:
        return replace(plain, against="codes at both edges, or in both directions, are read")
    side, forward = next(iter(ways))
    stocks = {code.text.stock for code in counted}
    common = Told(
        piece,
        stock=next(iter(stocks)) if len(stocks) == 1 else None,
        forward=forward,
        side=side,
        counted=counted,
        others=others,
    )
    if _overlapping(sure) or _spoken_against(sure, others):
        return replace(plain, against="codes that say other numbers lie among one another")
    numbers, against = _numbers(piece, sure)
    return replace(common, numbers=numbers, against=against)


def _counts(chain: Sequence[Code]) -> bool:
    """Return whether codes agree: two at the least, at two places."""
    if len(chain) < 2:
        return False
    return max(code.at for code in chain) - min(code.at for code in chain) > HALF_MM / 2


def _ends(chain: Sequence[Code]) -> tuple[float, float]:
    return min(code.at for code in chain), max(code.at for code in chain)


def _overlapping(chains: Sequence[Sequence[Code]]) -> bool:
    """Return whether groups that say otherwise lie among one another: no two pieces laid end to end
    do."""
    ends = sorted(_ends(chain) for chain in chains)
    return any(one[1] > other[0] for one, other in pairwise(ends))


def _spoken_against(chains: Sequence[Sequence[Code]], others: Sequence[Code]) -> bool:
    """Return whether single codes of other numbers lie within a group that is hardly larger."""
    for chain in chains:
        low, high = _ends(chain)
        within = [code for code in others if low - HALF_MM < code.at < high + HALF_MM]
        if within and len(chain) < 2 * len(within) + 1:
            return True
    return False


def _numbers(piece: Piece, chains: Sequence[Sequence[Code]]) -> tuple[dict[int, str], str]:
    """Return the number of each frame of a piece, and in words why some have none."""
    found: dict[int, str] = {}
    without: list[str] = []
    for frame, place in zip(piece.frames, piece.places, strict=True):
        chain = min(chains, key=lambda each: _distance(each, place))
        exact = _half(chain, place)
        if exact is None:
            continue
        if abs(exact - round(exact)) > _NEAR:
            without.append("frames lie midway between two numbers")
        elif not -2 <= round(exact) < edge_codes.MOST_HALVES:
            most = edge_codes.written(edge_codes.MOST_HALVES - 1)
            without.append(f"they count beyond what film has (00 to {most})")
        else:
            found[frame] = edge_codes.written(round(exact))
    twice = {number for number in found.values() if [*found.values()].count(number) > 1}
    if twice:
        words = f"two frames would be {', '.join(sorted(twice))}"
        return {frame: each for frame, each in found.items() if each not in twice}, words
    return found, without[0] if without else ""


def _distance(chain: Sequence[Code], place: float) -> float:
    """Return how far (mm) a place of the piece is from the codes, 0 among them."""
    low, high = _ends(chain)
    own = chain[0].side * place
    return max(low - own, own - high, 0.0)


def _half(chain: Sequence[Code], place: float) -> float | None:
    """Return the half frame at a place of the piece, None where codes are too far or unnumbered."""
    own = chain[0].side * place
    near = min(chain, key=lambda code: abs(code.at - own))
    if near.text.half is None or _distance(chain, place) > _REACH_MM:
        return None
    return near.text.half + _direction(near) * (own - near.at) / HALF_MM
