"""What a capture target holds: the description a person wrote, checked and with its values.

Positions are mm in the plane of the target, x right, y down, from its top-left corner.
The format: config/targets/description.schema.yaml, explained in config/targets/README.md.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from glassine.base import door, settings
from glassine.base.errors import Finding, GlassineError
from glassine.base.files import inside
from glassine.base.settings import read_yaml
from glassine.masters.colour import D50
from glassine.targets import colour, reference
from glassine.targets.colour import Array
from glassine.targets.reference import Value

SCHEMA_PATH = settings.PROJECT / "config" / "targets" / "description.schema.yaml"

Pair = tuple[float, float]


@dataclass(frozen=True)
class Patch:
    """An even area: centre and size in mm, roles, and its reference value as XYZ (D50, Y = 1)."""

    name: str
    at: Pair
    size: Pair
    roles: tuple[str, ...]
    xyz: tuple[float, float, float]

    @property
    def lab(self) -> Array:
        return colour.lab_from_xyz(np.array(self.xyz))

    @property
    def density(self) -> float:
        return float(-np.log10(max(self.xyz[1], 1e-6)))


@dataclass(frozen=True)
class Edge:
    """A region with one slanted edge; across: the direction in which it is measured."""

    name: str
    at: Pair
    size: Pair
    across: str
    place: str


@dataclass(frozen=True)
class Description:
    """One target as described; marks are the centres of its discs (none where found by outline)."""

    id: str
    title: str
    kind: str
    size_mm: Pair
    locate_by: str
    mark_tone: str
    mark_diameter_mm: float
    marks: tuple[Pair, ...]
    patches: tuple[Patch, ...]
    edges: tuple[Edge, ...]
    about: dict[str, str]
    sha256: str


def read(path: Path) -> Description:
    """Return the description in the YAML file `path`, with the values its reference file gives.

    Raises GlassineError with every mistake at once.
    """
    # Of the batch folder no link is followed; what lies in config/targets is the studio's own.
    trusted = path.parent == SCHEMA_PATH.parent
    loaded = read_yaml(path, trusted=trusted)
    problems = settings.problems(loaded, read_yaml(SCHEMA_PATH, trusted=True), path.name)
    if problems:
        raise GlassineError([_renamed(finding) for finding in problems])
    root = None if trusted else path.parent
    digest = hashlib.sha256(door.read_file(path, root, settings.MAX_YAML_BYTES)).hexdigest()
    values = _values(path, root, loaded)
    return _described(loaded, values, digest, path.name)


def _renamed(finding: Finding) -> Finding:
    return Finding(
        "targets.description",
        finding.path,
        finding.what,
        finding.expected.replace("config/README.md", "config/targets/README.md"),
        finding.next_step,
    )


def _values(path: Path, root: Path | None, loaded: dict[str, Any]) -> reference.Values:
    named = loaded.get("reference")
    if named is None:
        return {}
    try:
        source = inside(path.parent, named["file"])
    except ValueError as problem:
        raise _bad(
            path.name, f"It cannot be used: {problem}.", "a file next to the description."
        ) from problem
    data, values = reference.read(source, named["format"], root)
    wanted = named.get("sha256")
    if wanted and hashlib.sha256(data).hexdigest() != wanted:
        raise _bad(path.name, f"{named['file']} is not the file described.", f"sha256 {wanted}.")
    return values


def _bad(where: str, what: str, expected: str) -> GlassineError:
    return GlassineError.because(
        "targets.description",
        where,
        what,
        expected,
        "Correct the description of the target (config/targets/README.md).",
    )


def _stated(patch: dict[str, Any]) -> Value:
    """Return the value that a patch of the description states itself."""
    lab = patch.get("lab")
    return Value(
        lab=(float(lab[0]), float(lab[1]), float(lab[2])) if lab is not None else None,
        density=patch.get("density"),
        reflectance=patch.get("reflectance"),
    )


def _xyz(value: Value) -> tuple[float, float, float] | None:
    """Return XYZ of a value given as lab, density or reflectance; the last two count as grey."""
    if value.lab is not None:
        xyz = colour.xyz_from_lab(np.array(value.lab, dtype=float))
    elif value.density is not None:
        xyz = D50 * 10 ** -float(value.density)
    elif value.reflectance is not None:
        xyz = D50 * float(value.reflectance)
    else:
        return None
    return (float(xyz[0]), float(xyz[1]), float(xyz[2]))


def _described(
    loaded: dict[str, Any], values: reference.Values, digest: str, where: str
) -> Description:
    problems: list[str] = []
    patches = []
    for patch in loaded["patches"]:
        xyz = _xyz(_stated(patch)) or _xyz(values.get(patch["name"], Value()))
        if xyz is None:
            problems.append(f"the patch {patch['name']!r} has no reference value")
            continue
        patches.append(
            Patch(patch["name"], _pair(patch["at"]), _pair(patch["size"]), (*patch["roles"],), xyz)
        )
    edges = [
        Edge(edge["name"], _pair(edge["at"]), _pair(edge["size"]), edge["across"], edge["place"])
        for edge in loaded["edges"]
    ]
    problems += _twice([patch.name for patch in patches]) + _twice([edge.name for edge in edges])
    target, locate = loaded["target"], loaded["locate"]
    problems += _outside(target["size_mm"], [*patches, *edges])
    marks = locate.get("marks")
    if locate["by"] == "marks" and marks is None:
        problems.append("it is to be found by marks, but lists none")
    if problems:
        raise GlassineError(
            [
                _bad(
                    where, f"It is not built as it should be: {problem}.", "as README.md describes."
                ).findings[0]
                for problem in problems
            ]
        )
    return Description(
        id=target["id"],
        title=target["title"],
        kind=target["kind"],
        size_mm=_pair(target["size_mm"]),
        locate_by=locate["by"],
        mark_tone=marks["tone"] if marks else "dark",
        mark_diameter_mm=float(marks["diameter_mm"]) if marks else 0.0,
        marks=tuple(_pair(at) for at in marks["at"]) if marks else (),
        patches=tuple(patches),
        edges=tuple(edges),
        about={
            key: target[key] for key in ("maker", "number", "media", "measured_on") if key in target
        },
        sha256=digest,
    )


def _pair(value: list[float]) -> Pair:
    return (float(value[0]), float(value[1]))


def _twice(names: list[str]) -> list[str]:
    return [
        f"the name {name!r} stands twice"
        for name in sorted({n for n in names if names.count(n) > 1})
    ]


def _outside(size_mm: list[float], areas: list[Patch | Edge]) -> list[str]:
    problems = []
    for area in areas:
        for centre, extent, limit in zip(area.at, area.size, size_mm, strict=True):
            if centre - extent / 2 < -1e-6 or centre + extent / 2 > limit + 1e-6:
                problems.append(f"{area.name!r} reaches beyond the target's outline")
                break
    return problems
