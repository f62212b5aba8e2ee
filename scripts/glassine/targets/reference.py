"""Reference values of a target's patches, from the files that instruments write.

Two forms are read: the text of ANSI CGATS.17 (ISO 28178) and the XML of CxF3 (ISO 17972-1).
Both give, for each patch name, one of: lab, density, reflectance (as a description does inline).
"""

from __future__ import annotations

import math
import re
import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from lxml import etree

from glassine.base import door
from glassine.base.errors import GlassineError
from glassine.targets import colour

MAX_BYTES = 16 * 2**20
MAX_PATCHES = 5000
CXF3 = "{http://colorexchangeformat.com/CxF3-core}"


@dataclass(frozen=True)
class Value:
    """What is known of a patch, by one of three: CIE Lab (D50), density, or reflectance (0 to 1;
    of film, transmittance)."""

    lab: tuple[float, float, float] | None = None
    density: float | None = None
    reflectance: float | None = None


Values = dict[str, Value]


def _refuse(path: Path, what: str) -> GlassineError:
    return GlassineError.because(
        "targets.reference",
        path.name,
        f"These reference values cannot be used: {what}.",
        "a CGATS.17 text or CxF3 file with LAB, XYZ or density by patch, for D50 and 2 degrees.",
        "Export the values of this very target again, or write them into its description.",
    )


def read(path: Path, form: str, root: Path | None = None) -> tuple[bytes, Values]:
    """Return the file's bytes and the values by patch name. form: "cgats" or "cxf3".

    root: a folder below which no link is followed (see `door`).

    Raises GlassineError for a file that is missing, too large, malformed, or for another
    illuminant or observer than D50 and 2 degrees.
    """
    try:
        data = door.read_file(path, root, MAX_BYTES)
        values = read_cgats(data) if form == "cgats" else read_cxf3(data)
    except (OSError, ValueError, etree.XMLSyntaxError) as problem:
        raise _refuse(path, " ".join(str(problem).split())) from problem
    return data, values


def _number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{text!r} is no number")
    return value


def _take(row: dict[str, str]) -> Value:
    """Return the value of one patch from its columns (Lab before XYZ before density)."""
    if all(f"LAB_{part}" in row for part in "LAB"):
        return _of_lab([_number(row[f"LAB_{part}"]) for part in "LAB"])
    if all(f"XYZ_{part}" in row for part in "XYZ"):
        return _of_xyz([_number(row[f"XYZ_{part}"]) for part in "XYZ"])
    for column in ("D_VIS", "DENSITY", "D_V"):
        if column in row:
            return Value(density=_number(row[column]))
    raise ValueError("it has neither LAB, XYZ nor a visual density (spectra are not read)")


def _of_lab(lab: Sequence[float]) -> Value:
    lightness, a, b = lab
    return Value(lab=(float(lightness), float(a), float(b)))


def _of_xyz(percent: list[float]) -> Value:
    return _of_lab(colour.lab_from_xyz(np.array(percent) / 100).tolist())


def read_cgats(data: bytes) -> Values:
    """Return the values in a CGATS.17 text.

    Raises ValueError for a table without format or data, rows of the wrong length,
    a name twice, or another illuminant than D50.
    """
    columns: list[str] = []
    rows: list[list[str]] = []
    for part, words, line in _lines(data.decode("utf-8-sig", "strict")):
        head = words[0].upper()
        if part == "BEGIN_DATA_FORMAT":
            columns += [word.upper() for word in words]
        elif part == "BEGIN_DATA":
            rows.append(words)
        elif head in ("ILLUMINANT", "OBSERVER", "WEIGHTING_FUNCTION"):
            _check_conditions(" ".join(words[1:]) if head == "OBSERVER" else line, head)
    return _named(columns, rows)


def _lines(text: str) -> Iterator[tuple[str, list[str], str]]:
    """Return the part that each line stands in ("" for the head), its words, and the line.

    Left out are comments, empty lines and the lines that begin and end a part.
    """
    part = ""
    for line in text.splitlines():
        words = shlex.split(line.replace("\t", " "), comments=True) if line.strip() else []
        head = words[0].upper() if words else ""
        if head.startswith(("BEGIN_DATA", "END_DATA")):
            part = head if head.startswith("BEGIN") else ""
        elif words:
            yield part, words, line


def _check_conditions(text: str, keyword: str) -> None:
    """Raise ValueError for what names another illuminant than D50 or another observer than 2."""
    upper = text.upper()
    light = keyword == "ILLUMINANT" or (keyword == "WEIGHTING_FUNCTION" and "ILLUMINANT" in upper)
    if light and "D50" not in upper:
        raise ValueError(f"it says {text.strip()[:80]!r}, not D50")
    observer = keyword == "OBSERVER" or (keyword == "WEIGHTING_FUNCTION" and "OBSERVER" in upper)
    if observer and re.search(r"(?<!\d)10(?!\d)", upper):
        raise ValueError(f"it says {text.strip()[:80]!r}, not the observer of 2 degrees")


def _named(columns: list[str], rows: list[list[str]]) -> Values:
    names = [name for name in ("SAMPLE_NAME", "SAMPLE_ID", "SAMPLE_LOC") if name in columns]
    if not names or not rows:
        raise ValueError("no table with SAMPLE_NAME or SAMPLE_ID was found in it")
    if len(rows) > MAX_PATCHES:
        raise ValueError(f"it holds more than {MAX_PATCHES} patches")
    by_name: Values = {}
    for number, row in enumerate(rows, 1):
        if len(row) != len(columns):
            raise ValueError(f"row {number} has {len(row)} values for {len(columns)} columns")
        value = dict(zip(columns, row, strict=True))
        name = value[names[0]]
        if name in by_name:
            raise ValueError(f"the patch {name!r} stands twice")
        by_name[name] = _take(value)
    return by_name


def read_cxf3(data: bytes) -> Values:
    """Return the values in a CxF3 file: ColorCIELab, ColorCIEXYZ or ColorDensity of each Object.

    Raises ValueError or lxml's XMLSyntaxError; entities are never expanded nor files fetched.
    """
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False
    )
    root = etree.fromstring(data, parser)
    tree: Any = root.getroottree()
    if tree.docinfo.doctype:
        raise ValueError("it carries a document type declaration")
    for name in ("Illuminant", "Observer"):
        for element in root.iter(f"{CXF3}{name}"):
            _check_conditions((element.text or "").replace("_", " "), name.upper())
    by_name: Values = {}
    for item in root.iter(f"{CXF3}Object"):
        name = item.get("Name") or ""
        value = _cxf3_value(item)
        if value is None:
            continue
        if name in by_name or not name:
            raise ValueError(f"the patch {name!r} stands twice or has no name")
        by_name[name] = value
    if not by_name:
        raise ValueError("no patch with Lab, XYZ or density was found in it (spectra are not read)")
    if len(by_name) > MAX_PATCHES:
        raise ValueError(f"it holds more than {MAX_PATCHES} patches")
    return by_name


def _cxf3_value(item: Any) -> Value | None:
    def parts(element: Any, names: str) -> list[float]:
        return [_number(element.findtext(f"{CXF3}{name}") or "") for name in names]

    lab = item.find(f".//{CXF3}ColorCIELab")
    if lab is not None:
        return _of_lab(parts(lab, "LAB"))
    xyz = item.find(f".//{CXF3}ColorCIEXYZ")
    if xyz is not None:
        return _of_xyz(parts(xyz, "XYZ"))
    density = item.find(f".//{CXF3}ColorDensity/{CXF3}Density")
    return Value(density=_number(density.text or "")) if density is not None else None
