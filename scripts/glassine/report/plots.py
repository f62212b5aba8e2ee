"""Plots of measures as inline SVG: how they are spread, and how they drift over the session."""

from __future__ import annotations

import math
import re
import statistics
from dataclasses import dataclass
from html import escape

WIDTH, HEIGHT = 300, 130
_LEFT, _RIGHT, _TOP, _BOTTOM = 50, 8, 12, 24
_BINS = 24
# More points than this are drawn as a band (least to greatest) with the median through it.
_MAX_POINTS = 120
# Values beyond a limit are marked one by one, up to this many; the rest are counted.
_MAX_MARKED = 40
_NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")


@dataclass(frozen=True)
class Point:
    """One value of a measure: of which item and frame, and whether it passed."""

    item: str
    frame: int
    value: float
    passed: bool


@dataclass(frozen=True)
class Series:
    """One measure over the session, in the order of capture."""

    name: str
    unit: str
    limit: str | None
    source: str
    points: list[Point]

    @property
    def failed(self) -> list[Point]:
        return [point for point in self.points if not point.passed]


def limits_of(text: str | None) -> list[float]:
    """Return the numbers of a limit, e.g. [0.5] of "<= 0.5" and [0.2, 0.4] of "0.2 to 0.4"."""
    return [float(found) for found in _NUMBER.findall(text or "")][:2]


def tidy(value: float) -> str:
    """Return a number as short as it may be read, four significant digits.

    >>> tidy(12345.678), tidy(0.012345), tidy(3.0)
    ('12350', '0.01235', '3')
    """
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else str(value)
    digits = 3 - math.floor(math.log10(abs(value)))
    rounded = round(value, digits)
    return f"{rounded:.{max(0, digits)}f}".rstrip("0").rstrip(".") if digits > 0 else f"{rounded:g}"


def _range(series: Series) -> tuple[float, float]:
    """Return the least and greatest value to draw, limits that lie near included."""
    values = [point.value for point in series.points]
    low, high = min(values), max(values)
    spread = (high - low) or abs(high) * 0.1 or 1.0
    for limit in limits_of(series.limit):
        if low - 2 * spread <= limit <= high + 2 * spread:
            low, high = min(low, limit), max(high, limit)
    margin = ((high - low) or spread) * 0.05
    return low - margin, high + margin


def _frame(title: str, describe: str, body: str, role: str = "img") -> str:
    return (
        f'<svg class="plot" viewBox="0 0 {WIDTH} {HEIGHT}" role="{role}">'
        f"<title>{escape(title)}</title><desc>{escape(describe)}</desc>{body}</svg>"
    )


def _axis(value: float) -> str:
    """Return a number for an axis: three significant digits, which its margin holds."""
    return tidy(float(f"{value:.3g}"))


def _label(x: float, y: float, text: str, anchor: str = "middle") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'


def _axes() -> str:
    bottom = HEIGHT - _BOTTOM
    return f'<path class="axis" d="M{_LEFT} {_TOP}V{bottom}H{WIDTH - _RIGHT}"/>'


def spread(series: Series) -> str:
    """Return a histogram: x the value, y the number of frames, limits as upright lines."""
    low, high = _range(series)
    counts = [0] * _BINS
    for point in series.points:
        counts[min(_BINS - 1, int((point.value - low) / (high - low) * _BINS))] += 1
    most = max(counts)
    wide = (WIDTH - _LEFT - _RIGHT) / _BINS
    tall = HEIGHT - _TOP - _BOTTOM
    bars = "".join(
        f"M{_LEFT + number * wide + 1:.1f} {HEIGHT - _BOTTOM}v{-count / most * tall:.1f}"
        f"h{wide - 2:.1f}v{count / most * tall:.1f}z"
        for number, count in enumerate(counts)
        if count
    )

    def across(value: float) -> float:
        return _LEFT + (value - low) / (high - low) * (WIDTH - _LEFT - _RIGHT)

    lines = "".join(
        f'<path class="limit" d="M{across(limit):.1f} {_TOP - 6}V{HEIGHT - _BOTTOM}"/>'
        for limit in limits_of(series.limit)
        if low <= limit <= high
    )
    texts = (
        _label(_LEFT, HEIGHT - 6, _axis(low), "start")
        + _label(WIDTH - _RIGHT, HEIGHT - 6, f"{_axis(high)} {series.unit}".strip(), "end")
        + _label(_LEFT - 6, _TOP + 8, str(most), "end")
        + _label(_LEFT - 6, HEIGHT - _BOTTOM, "0", "end")
    )
    values = [point.value for point in series.points]
    describe = (
        f"{len(values)} frames from {tidy(min(values))} to {tidy(max(values))} {series.unit}, "
        f"median {tidy(statistics.median(values))}."
    )
    return _frame(
        f"{series.name}: how the values are spread",
        describe,
        _axes() + f'<path class="bars" d="{bars}"/>' + lines + texts,
    )


def _groups(points: list[Point]) -> list[list[float]]:
    """Return the values in order, in at most _MAX_POINTS groups of neighbours."""
    size = math.ceil(len(points) / _MAX_POINTS)
    return [
        [point.value for point in points[start : start + size]]
        for start in range(0, len(points), size)
    ]


def drift(series: Series) -> str:
    """Return the values in order of capture; those that did not pass link to their item."""
    low, high = _range(series)
    groups = _groups(series.points)
    count = len(series.points)

    def across(position: float, of: int) -> float:
        return _LEFT + (position + 0.5) / of * (WIDTH - _LEFT - _RIGHT)

    def up(value: float) -> float:
        return HEIGHT - _BOTTOM - (value - low) / (high - low) * (HEIGHT - _TOP - _BOTTOM)

    body = _axes()
    for limit in limits_of(series.limit):
        if low <= limit <= high:
            body += f'<path class="limit" d="M{_LEFT} {up(limit):.1f}H{WIDTH - _RIGHT}"/>'
    if len(groups) < count:
        ribs = "".join(
            f"M{across(at, len(groups)):.1f} {up(min(group)):.1f}V{up(max(group)):.1f}"
            for at, group in enumerate(groups)
        )
        body += f'<path class="band" d="{ribs}"/>'
    line = " ".join(
        f"{across(at, len(groups)):.1f},{up(statistics.median(group)):.1f}"
        for at, group in enumerate(groups)
    )
    body += f'<polyline class="line" points="{line}"/>'
    if len(groups) == count:
        body += "".join(
            f'<circle class="dot" cx="{across(at, count):.1f}" cy="{up(point.value):.1f}" r="2"/>'
            for at, point in enumerate(series.points)
            if point.passed
        )
    marked = [(at, point) for at, point in enumerate(series.points) if not point.passed]
    body += "".join(
        f'<a href="#item={escape(point.item)}"><rect class="over" '
        f'x="{across(at, count) - 4:.1f}" y="{up(point.value) - 4:.1f}" width="8" height="8">'
        f"<title>{escape(point.item)}, frame {point.frame}: {tidy(point.value)} "
        f"{escape(series.unit)}</title></rect></a>"
        for at, point in marked[:_MAX_MARKED]
    )
    body += (
        _label(_LEFT - 6, _TOP + 8, _axis(high), "end")
        + _label(_LEFT - 6, HEIGHT - _BOTTOM, _axis(low), "end")
        + _label(_LEFT, HEIGHT - 6, "first captured", "start")
        + _label(WIDTH - _RIGHT, HEIGHT - 6, "last", "end")
    )
    third = max(1, count // 3)
    early = statistics.median(point.value for point in series.points[:third])
    late = statistics.median(point.value for point in series.points[-third:])
    describe = (
        f"Median of the first third {tidy(early)}, of the last third {tidy(late)} {series.unit}; "
        f"{len(marked)} of {count} outside the limit."
    )
    role = "group" if marked else "img"  # links inside an image would be lost to a screen reader
    return _frame(f"{series.name} over the session", describe, body, role)


def drift_words(series: Series) -> str:
    """Return in one sentence how the last third of the session differs from the first."""
    count = len(series.points)
    if count < 6:
        return "Too few frames to tell a drift."
    third = count // 3
    early = statistics.median(point.value for point in series.points[:third])
    late = statistics.median(point.value for point in series.points[-third:])
    values = [point.value for point in series.points]
    usual = statistics.median(abs(value - statistics.median(values)) for value in values)
    moved = f"from {tidy(early)} to {tidy(late)} {series.unit}".strip()
    # Three median deviations: common practice for "more than the usual scatter", no source.
    if abs(late - early) > 3 * usual and usual > 0:
        return f"It moved over the session, {moved}: look at light, focus and carrier."
    return f"Steady over the session, {moved}."
