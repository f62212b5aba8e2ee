"""The generated targets of Port Ellery: one layout, as film or as print, at any size.

Run `python -m targets.layouts` in tests/ (with scripts/ on the path) to write the examples in
config/targets/ anew.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import yaml

PROJECT = Path(__file__).resolve().parents[3]

BASE = (24.0, 18.0)
MARKS = [
    *[(x, y) for y in (1.0, 17.0) for x in (1.0, 6.5, 12.0, 17.5, 23.0)],
    (1.0, 9.0),
    (23.0, 9.0),
    (1.0, 4.2),  # the odd one, so that the target cannot be taken upside down
]
SQUARES = [
    ("centre", (12.0, 9.0), 3.0),
    ("top-left", (3.6, 3.6), 2.4),
    ("top-right", (20.4, 3.6), 2.4),
    ("bottom-left", (3.6, 14.4), 2.4),
    ("bottom-right", (20.4, 14.4), 2.4),
]
NEUTRALS = [
    *[(6.8 + 2.08 * i, y) for y in (13.2, 15.2) for i in range(6)],
    *[(x, y) for x in (2.4, 4.6) for y in (7.5, 10.5)],
    *[(x, y) for x in (21.6, 19.4) for y in (7.5, 10.5)],
]
COLOURS = [(6.8 + 2.08 * i, y) for y in (2.8, 4.8) for i in range(6)]
FLATS = [(2.0, 5.8), (22.0, 5.8), (2.0, 12.2), (22.0, 12.2), (7.5, 9.0), (16.5, 9.0)]
PATCH = 1.3
# Invented values, inside the range of a wide RGB space at full exposure.
LABS = [
    (62, 42, 30), (45, 48, 22), (74, 8, 58), (58, -40, 28), (40, -28, 8), (52, -16, -28),
    (38, 12, -42), (48, 38, -14), (66, 18, 18), (70, -8, 44), (34, 20, -4), (78, -14, 6),
]  # fmt: skip
# Wedge of the film from clear to about the darkest that film carries.
DENSITIES = np.round(np.concatenate([np.linspace(0.05, 2.0, 14), np.linspace(2.3, 3.8, 6)]), 3)
LIGHTNESSES = np.round(np.linspace(94, 9, 20), 1)


def squares(scale: float) -> tuple:
    return tuple(
        ((x * scale, y * scale), (size * scale, size * scale)) for _, (x, y), size in SQUARES
    )


def description(kind: str, scale: float = 1.0, locate: str = "marks") -> dict[str, Any]:
    """Return the description of the film (transmissive) or print (reflective) target as data."""

    def mm(values: Any) -> list[float]:
        return [round(float(value) * scale, 4) for value in values]

    film = kind == "transmissive"
    patches = []
    for number, at in enumerate(NEUTRALS):
        patch: dict[str, Any] = {
            "name": f"N{number + 1:02d}",
            "at": mm(at),
            "size": mm((PATCH, PATCH)),
        }
        patch["roles"] = ["neutral", "light"] if number == 0 and film else ["neutral"]
        if film:
            patch["density"] = float(DENSITIES[number])
        else:
            patch["lab"] = [float(LIGHTNESSES[number]), 0.0, 0.0]
        patches.append(patch)
    for number, (at, lab) in enumerate(zip(COLOURS, LABS, strict=True)):
        patches.append(
            {"name": f"C{number + 1:02d}", "at": mm(at), "size": mm((PATCH, PATCH)),
             "roles": ["colour"], "lab": [float(value) for value in lab]}
        )  # fmt: skip
    for number, at in enumerate(FLATS):
        patches.append(
            {"name": f"F{number + 1}", "at": mm(at), "size": mm((PATCH, PATCH)),
             "roles": ["flat"], **({"density": 0.3} if film else {"lab": [75.0, 0.0, 0.0]})}
        )  # fmt: skip
    edges = []
    for place, (x, y), size in SQUARES:
        for across, at in (("horizontal", (x - size / 2, y)), ("vertical", (x, y - size / 2))):
            region = (1.3, 0.62 * size) if across == "horizontal" else (0.62 * size, 1.3)
            edges.append(
                {"name": f"{place}-{across}", "at": mm(at), "size": mm(region),
                 "across": across, "place": place}
            )  # fmt: skip
    name = "film" if film else "print"
    found: dict[str, Any] = {
        "target": {
            "id": f"peh-{name}-01",
            "title": f"Generated {name} target, Port Ellery Harbour Archive",
            "kind": kind,
            "size_mm": mm(BASE),
            "maker": "Port Ellery Harbour Archive (drawn by code)",
            "number": "01",
            "media": "film" if film else "paper",
            "measured_on": "2026-01-12",
        },
        "locate": {"by": locate},
        "patches": patches,
        "edges": edges,
    }
    if locate == "marks":
        found["locate"]["marks"] = {
            "tone": "dark", "diameter_mm": round(0.8 * scale, 4), "at": [mm(at) for at in MARKS]
        }  # fmt: skip
    return found


def write(path: Path, value: dict[str, Any], heading: str = "") -> Path:
    path.write_text(heading + yaml.safe_dump(value, sort_keys=False, width=100), "utf-8")
    return path


HEADING = """\
# Description of a capture target (format: README.md in this folder).
# An example drawn by code for the Port Ellery Harbour Archive (invented); its values are those
# it was drawn with. A real target is measured, piece by piece.
"""


def main() -> None:
    folder = PROJECT / "config" / "targets"
    write(folder / "film-example.yaml", description("transmissive", 1.0), HEADING)
    write(folder / "print-example.yaml", description("reflective", 2.5), HEADING)


if __name__ == "__main__":
    main()
