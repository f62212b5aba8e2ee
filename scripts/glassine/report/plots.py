"""Plots of measures as inline SVG: how they are spread, and how they drift over the session."""

from __future__ import annotations

import math
import re
import statistics
from dataclasses import dataclass, replace

from glassine.base import svg

WIDTH, HEIGHT = 300, 130
_PLANE = svg.Plane(WIDTH, HEIGHT, left=50, right=8, top=12, bottom=24)
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
    inside = svg.title(title) + svg.description(describe) + body
    return svg.tag("svg", inside, class_="plot", viewBox=f"0 0 {WIDTH} {HEIGHT}", role=role)


def _axis(value: float) -> str:
    """Return a number for an axis: three significant digits, which its margin holds."""
    return tidy(float(f"{value:.3g}"))


def _label(x: float, y: float, text: str, anchor: str = "middle") -> str:
    return svg.text(text, x=f"{x:.1f}", y=f"{y:.1f}", text_anchor=anchor)


def _axes() -> str:
    return svg.tag(
        "path", class_="axis", d=f"M{_PLANE.left} {_PLANE.top}V{_PLANE.foot}H{_PLANE.end}"
    )


def spread(series: Series) -> str:
    """Return a histogram: x the value, y the number of frames, limits as upright lines."""
    low, high = _range(series)
    counts = [0] * _BINS
    for point in series.points:
        counts[min(_BINS - 1, int((point.value - low) / (high - low) * _BINS))] += 1
    most = max(counts)
    plane = replace(_PLANE, x=(low, high))
    wide, tall = plane.wide / _BINS, plane.tall
    bars = "".join(
        f"M{plane.left + number * wide + 1:.1f} {plane.foot}v{-count / most * tall:.1f}"
        f"h{wide - 2:.1f}v{count / most * tall:.1f}z"
        for number, count in enumerate(counts)
        if count
    )
    lines = "".join(
        svg.tag(
            "path", class_="limit", d=f"M{plane.across(limit):.1f} {plane.top - 6}V{plane.foot}"
        )
        for limit in limits_of(series.limit)
        if low <= limit <= high
    )
    texts = (
        _label(_PLANE.left, HEIGHT - 6, _axis(low), "start")
        + _label(_PLANE.end, HEIGHT - 6, f"{_axis(high)} {series.unit}".strip(), "end")
        + _label(_PLANE.left - 6, _PLANE.top + 8, str(most), "end")
        + _label(_PLANE.left - 6, _PLANE.foot, "0", "end")
    )
    values = [point.value for point in series.points]
    describe = (
        f"{len(values)} frames from {tidy(min(values))} to {tidy(max(values))} {series.unit}, "
        f"median {tidy(statistics.median(values))}."
    )
    return _frame(
        f"{series.name}: how the values are spread",
        describe,
        _axes() + svg.tag("path", class_="bars", d=bars) + lines + texts,
    )


def _groups(points: list[Point]) -> list[list[float]]:
    """Return the values in order, in at most _MAX_POINTS groups of neighbours."""
    size = math.ceil(len(points) / _MAX_POINTS)
    return [
        [point.value for point in points[start : start + size]]
        for start in range(0, len(points), size)
    ]


def _over(point: Point, unit: str, x: float, y: float) -> str:
    """Return the mark of a value that did not pass, which leads to its item."""
    shown = svg.title(f"{point.item}, frame {point.frame}: {tidy(point.value)} {unit}")
    place = {"x": f"{x - 4:.1f}", "y": f"{y - 4:.1f}", "width": 8, "height": 8}
    return svg.tag("a", svg.tag("rect", shown, class_="over", **place), href=f"#item={point.item}")


def _worst(marked: list[tuple[int, Point]], limits: list[float]) -> list[tuple[int, Point]]:
    """Return those that are furthest outside the limits, at most _MAX_MARKED, in their order."""

    def beyond(each: tuple[int, Point]) -> float:
        value = each[1].value
        return max(min(limits) - value, value - max(limits)) if limits else 0.0

    return sorted(sorted(marked, key=beyond, reverse=True)[:_MAX_MARKED], key=lambda each: each[0])


def drift(series: Series) -> str:
    """Return the values in order of capture; those that did not pass link to their item."""
    low, high = _range(series)
    groups = _groups(series.points)
    count = len(series.points)

    def across(position: float, of: int) -> float:
        return replace(_PLANE, x=(-0.5, of - 0.5)).across(position)

    up = replace(_PLANE, y=(low, high)).up
    body = _axes()
    for limit in limits_of(series.limit):
        if low <= limit <= high:
            d = f"M{_PLANE.left} {up(limit):.1f}H{_PLANE.end}"
            body += svg.tag("path", class_="limit", d=d)
    if len(groups) < count:
        ribs = "".join(
            f"M{across(at, len(groups)):.1f} {up(min(group)):.1f}V{up(max(group)):.1f}"
            for at, group in enumerate(groups)
        )
        body += svg.tag("path", class_="band", d=ribs)
    line = " ".join(
        f"{across(at, len(groups)):.1f},{up(statistics.median(group)):.1f}"
        for at, group in enumerate(groups)
    )
    body += svg.tag("polyline", class_="line", points=line)
    if len(groups) == count:
        body += "".join(
            svg.tag(
                "circle",
                class_="dot",
                cx=f"{across(at, count):.1f}",
                cy=f"{up(point.value):.1f}",
                r=2,
            )
            for at, point in enumerate(series.points)
            if point.passed
        )
    marked = [(at, point) for at, point in enumerate(series.points) if not point.passed]
    body += "".join(
        _over(point, series.unit, across(at, count), up(point.value))
        for at, point in _worst(marked, limits_of(series.limit))
    )
    body += (
        _label(_PLANE.left - 6, _PLANE.top + 8, _axis(high), "end")
        + _label(_PLANE.left - 6, _PLANE.foot, _axis(low), "end")
        + _label(_PLANE.left, HEIGHT - 6, "first captured", "start")
        + _label(_PLANE.end, HEIGHT - 6, "last", "end")
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
    middle = statistics.median(values)
    usual = statistics.median(abs(value - middle) for value in values)
    moved = f"from {tidy(early)} to {tidy(late)} {series.unit}".strip()
    # Three median deviations: common practice for "more than the usual scatter", no source.
    if abs(late - early) > 3 * usual and usual > 0:
        return f"It moved over the session, {moved}: look at light, focus and carrier."
    return f"Steady over the session, {moved}."
