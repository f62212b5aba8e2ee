"""Plots of a target's results as small SVG files, and pictures of what was found or seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from glassine.base import svg
from glassine.base.files import replacing, write_text
from glassine.base.records.batch_targets import Point
from glassine.base.records.target import ColourPatch, Curve, GreyStep
from glassine.targets.capture import Capture
from glassine.targets.description import Description
from glassine.targets.figures import Figures
from glassine.targets.placement import Placement

# Colours that stay apart for most kinds of colour vision: Okabe and Ito (2008).
COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9", "#000000")
DASHES = ("", "6 3", "2 3", "8 3 2 3")
WIDTH, HEIGHT = 640, 400
_PLANE = svg.Plane(WIDTH, HEIGHT, left=62, right=16, top=34, bottom=46)

PREVIEW_PX = 1200
# Label of an axis that carries names in place of numbers, and how many names fit under it.
PATCHES = "patch"
MAX_NAMED = 26


class Axes:
    """A frame with linear axes; x and y are (low, high)."""

    def __init__(
        self, title: str, x: tuple[float, float], y: tuple[float, float], labels: tuple[str, str]
    ) -> None:
        self.x, self.y = x, y
        self.plane = replace(_PLANE, x=x, y=y)
        self.named = labels[0] == PATCHES
        self.parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
            f'role="img" font-family="sans-serif" font-size="12">',
            svg.title(title),
            svg.tag("rect", width=WIDTH, height=HEIGHT, fill="#ffffff"),
            svg.text(title, x=_PLANE.left, y=20, font_size=14),
        ]
        self._grid(labels)

    def at(self, x: float, y: float) -> tuple[float, float]:
        return round(self.plane.across(x), 2), round(self.plane.up(y), 2)

    def _grid(self, labels: tuple[str, str]) -> None:
        for value in [] if self.named else svg.ticks(*self.x):
            x, low = self.at(value, self.y[0])
            self.parts.append(
                svg.tag("path", d=f"M{x} {low}V{_PLANE.top}", stroke="#dddddd")
                + svg.text(f"{value:g}", x=x, y=low + 16, text_anchor="middle")
            )
        for value in svg.ticks(*self.y):
            x, y = self.at(self.x[0], value)
            self.parts.append(
                svg.tag("path", d=f"M{x} {y}H{_PLANE.end}", stroke="#dddddd")
                + svg.text(f"{value:g}", x=x - 6, y=y + 4, text_anchor="end")
            )
        self.parts.append(
            svg.text(labels[0], x=WIDTH / 2, y=HEIGHT - 8, text_anchor="middle")
            + svg.text(
                labels[1],
                transform=f"translate(14 {HEIGHT / 2}) rotate(-90)",
                text_anchor="middle",
            )
        )

    def line(self, x: Sequence[float], y: Sequence[float], style: int, name: str = "") -> None:
        inside = [
            self.at(a, min(max(b, self.y[0]), self.y[1]))
            for a, b in zip(x, y, strict=True)
            if self.x[0] <= a <= self.x[1]
        ]
        path = " ".join(f"{a},{b}" for a, b in inside)
        dash = DASHES[(style // len(COLOURS)) % len(DASHES)]
        self.parts.append(
            svg.tag(
                "polyline",
                svg.title(name),
                points=path,
                fill="none",
                stroke=COLOURS[style % len(COLOURS)],
                stroke_width=1.6,
                stroke_dasharray=dash,
            )
        )

    def dots(
        self, x: Sequence[float], y: Sequence[float], style: int, names: Sequence[str]
    ) -> None:
        for a, b, name in zip(x, y, names, strict=True):
            across, up = self.at(a, min(max(b, self.y[0]), self.y[1]))
            self.parts.append(
                svg.tag("circle", svg.title(name), cx=across, cy=up, r=3, fill=COLOURS[style])
            )

    def bars(self, values: Sequence[float], names: Sequence[str]) -> None:
        for index, (value, name) in enumerate(zip(values, names, strict=True)):
            left, top = self.at(index + 0.15, min(value, self.y[1]))
            right, low = self.at(index + 0.85, 0)
            self.parts.append(
                svg.tag(
                    "rect",
                    svg.title(f"{name}: {value:.2f}"),
                    x=left,
                    y=top,
                    width=round(right - left, 2),
                    height=round(low - top, 2),
                    fill=COLOURS[0],
                )
            )
            if len(values) <= MAX_NAMED:
                self.parts.append(
                    svg.text(
                        name,
                        x=round((left + right) / 2, 2),
                        y=low + 16,
                        font_size=10,
                        text_anchor="middle",
                    )
                )

    def mark(self, y: float, text: str) -> None:
        x, up = self.at(self.x[0], y)
        self.parts.append(
            svg.tag("path", d=f"M{x} {up}H{_PLANE.end}", stroke="#555555", stroke_dasharray="4 3")
            + svg.text(text, x=_PLANE.end - 4, y=up - 4, text_anchor="end")
        )

    def legend(self, names: Sequence[str]) -> None:
        for index, name in enumerate(names):
            y = _PLANE.top + 14 + 15 * index
            dash = DASHES[(index // len(COLOURS)) % len(DASHES)]
            self.parts.append(
                svg.tag(
                    "path",
                    d=f"M{WIDTH - 190} {y - 4}h24",
                    stroke=COLOURS[index % len(COLOURS)],
                    stroke_width=2,
                    stroke_dasharray=dash,
                )
                + svg.text(name, x=WIDTH - 160, y=y)
            )

    def svg(self) -> str:
        return "\n".join([*self.parts, "</svg>"]) + "\n"


def sfr_plot(curves: list[Curve]) -> str:
    """Return the SFR of each edge over frequency; the dashed lines are 0.5 and 0.1."""
    axes = Axes("Spatial frequency response", (0, 1), (0, 1.4),
                ("frequency, cycles per pixel (0.5 = half sampling)", "modulation"))  # fmt: skip
    for index, curve in enumerate(curves):
        axes.line(curve.frequency, curve.modulation, index, curve.edge)
    axes.mark(0.5, "0.5")
    axes.mark(0.1, "0.1")
    axes.legend([curve.edge for curve in curves[:20]])
    return axes.svg()


def oecf_plot(steps: list[GreyStep], kind: str) -> str:
    """Return captured over known density (film) or L* (print), with the line of no error."""
    if kind == "reflective":
        unit = "L*"
        known, seen = [s.lightness_reference for s in steps], [s.lightness for s in steps]
    else:
        unit = "density"
        known, seen = [s.density_reference for s in steps], [s.density for s in steps]
    high = max([*known, *seen, 1.0]) * 1.05
    low = min([0.0, *seen])
    axes = Axes("Tone response", (0, high), (low, high), (f"{unit} known", f"{unit} captured"))
    axes.line((0, high), (0, high), 6, "no error")
    axes.dots(known, seen, 0, [step.name for step in steps])
    return axes.svg()


def patches_plot(patches: list[ColourPatch]) -> str:
    """Return the colour difference of each patch as bars."""
    values = [patch.delta_e_2000 for patch in patches]
    high = max([*values, 1.0]) * 1.15
    axes = Axes("Colour error of the patches", (0, max(1, len(values))), (0, high),
                (PATCHES, "dE2000"))  # fmt: skip
    axes.bars(values, [patch.name for patch in patches])
    axes.mark(float(np.mean(values)) if values else 0.0, "mean")
    return axes.svg()


def trend_plot(points: list[Point], title: str) -> str:
    """Return a measure over the batches, in order of capture."""
    values = [point.value for point in points]
    low, high = min(values), max(values)
    room = max(0.1 * (high - low), 0.02 * abs(high), 1e-3)
    axes = Axes(title, (0, max(1, len(values) - 1)), (low - room, high + room),
                ("capture, oldest first", points[0].unit))  # fmt: skip
    axes.line(range(len(values)), values, 0, title)
    axes.dots(range(len(values)), values, 0, [f"{p.batch} {p.taken}" for p in points])
    return axes.svg()


def write_all(out_dir: Path, stem: str, kind: str, figures: Figures) -> dict[str, str]:
    """Write the plots of one result and return their file names by subject."""
    names = {}
    for subject, plot in (
        ("sfr", sfr_plot(figures.curves) if figures.curves else None),
        ("oecf", oecf_plot(figures.steps, kind) if figures.steps else None),
        ("patches", patches_plot(figures.patches) if figures.patches else None),
    ):
        if plot is not None:
            names[subject] = f"{stem}.{subject}.svg"
            write_text(out_dir / names[subject], plot)
    return names


def _canvas(capture: Capture) -> tuple[Any, float]:
    """Return the capture as an 8-bit BGR picture and px of it per px of the master."""
    light, factor = capture.small
    shown = light if light.shape[2] == 3 else np.repeat(light, 3, axis=2)
    high = max(float(np.percentile(shown, 99.5)), 1e-6)
    picture = np.round(255 * np.clip(shown / high, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    scale = min(1.0, PREVIEW_PX / max(picture.shape[:2]))
    size = (round(picture.shape[1] * scale), round(picture.shape[0] * scale))
    picture = cv2.resize(picture[..., ::-1], size, interpolation=cv2.INTER_AREA)
    return np.ascontiguousarray(picture), scale / factor


def _save(path: Path, picture: Any) -> None:
    done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 85])
    if not done:
        raise OSError(f"{path} could not be encoded")
    with replacing(path) as temporary:
        temporary.write_bytes(data.tobytes())


def draw_found(path: Path, capture: Capture, placement: Placement, described: Description) -> None:
    """Write a picture of the capture with outline, patches, edges and marks as they were taken."""
    picture, scale = _canvas(capture)
    width, height = described.size_mm
    boxes = [((width / 2, height / 2), (width, height), (0, 200, 0))]
    boxes += [(patch.at, patch.size, (255, 130, 0)) for patch in described.patches]
    boxes += [(edge.at, edge.size, (0, 90, 230)) for edge in described.edges]
    for at, size, colour in boxes:
        corners = np.array(
            [[at[0] + a * size[0] / 2, at[1] + b * size[1] / 2]
             for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
        )  # fmt: skip
        outline = np.round(placement.pixels(corners) * scale - 0.5).astype(np.int32)
        cv2.polylines(picture, [outline], True, colour, 1, cv2.LINE_AA)
    for x, y in placement.marks_px * scale - 0.5:
        cv2.drawMarker(picture, (round(x), round(y)), (0, 200, 0), cv2.MARKER_CROSS, 12, 1)
    _save(path, picture)


def draw_seen(path: Path, capture: Capture, seen: list[tuple[float, float, float]]) -> None:
    """Write a picture of the capture with the spots (x, y, radius in px) that were seen."""
    picture, scale = _canvas(capture)
    for x, y, radius in seen[:400]:
        centre = (round(x * scale), round(y * scale))
        cv2.circle(
            picture, centre, max(3, round(radius * scale * 1.3)), (0, 90, 230), 2, cv2.LINE_AA
        )
    _save(path, picture)
