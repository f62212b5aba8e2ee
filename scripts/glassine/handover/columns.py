"""The values that a column of a handover may hold, by name, and the template that picks them."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import msgspec

from glassine.base import persistent
from glassine.base.errors import GlassineError
from glassine.base.records.catalogue import CatalogueRow
from glassine.handover.facts import FrameFacts, ItemFacts
from glassine.handover.given import HandoverSection

# One value, or several of which each belongs to a master or a frame, in their order.
Value = str | int | float | None | list[str] | list[float | int | None]


@dataclass(frozen=True)
class Row:
    """A row of a handover: an item with all of its frames, or with one. resolver: the address
    that ARKs are put behind."""

    item: ItemFacts
    frames: tuple[FrameFacts, ...]
    resolver: str = ""

    @property
    def catalogue(self) -> CatalogueRow | None:
        return self.item.row

    def masters(self) -> list[Any]:
        """Return the masters that these frames are of; all of an item without frames."""
        named = {frame.master for frame in self.frames}
        return [each for each in self.item.masters if not named or each.path in named]

    def identifiers(self, scheme: str) -> list[str]:
        return [each.value for each in self.item.persistent if each.scheme == scheme]


def _of_masters(name: str) -> Callable[[Row], Value]:
    return lambda row: [getattr(master, name) for master in row.masters()]


def _of_frames(name: str) -> Callable[[Row], Value]:
    return lambda row: [getattr(frame, name) for frame in row.frames]


def _of_item(name: str) -> Callable[[Row], Value]:
    def value(row: Row) -> Value:
        found = getattr(row.item, name)
        return list(found) if isinstance(found, tuple) else found

    return value


def _size_mm(row: Row) -> Value:
    return [
        f"{frame.width_mm:.10g} x {frame.height_mm:.10g}"
        if frame.width_mm is not None and frame.height_mm is not None
        else ""
        for frame in row.frames
    ]


def _captured(row: Row) -> Value:
    return list(dict.fromkeys(each.captured for each in row.masters() if each.captured))


def _persistent_urls(row: Row) -> Value:
    found = [each.address(row.resolver) for each in row.item.persistent]
    return [address for address in found if address]


# What is said of each stands in config/README.md, by way of the settings' schema.
VALUES: dict[str, Callable[[Row], Value]] = {
    "item": _of_item("item"),
    "catalogue_item": lambda row: row.catalogue.item if row.catalogue else "",
    "batch": _of_item("batch"),
    "state": _of_item("state"),
    "reasons": _of_item("reasons"),
    "quality": _of_item("quality"),
    "access": _of_item("access"),
    "decisions": _of_item("decisions"),
    "decided_by": _of_item("decided_by"),
    "decided": _of_item("decided"),
    "withdrawn": _of_item("withdrawn"),
    "frames": lambda row: len(row.frames),
    "frame": _of_frames("index"),
    "frame_label": _of_frames("label"),
    "film_frame": _of_frames("film_frame"),
    "masters": _of_masters("path"),
    "master_files": _of_masters("file"),
    "master_bytes": _of_masters("bytes"),
    "master_sha256": _of_masters("sha256"),
    "master_sha512": _of_masters("sha512"),
    "access_files": _of_frames("access_file"),
    "access_sha256": _of_frames("access_sha256"),
    "width_px": _of_frames("width_px"),
    "height_px": _of_frames("height_px"),
    "ppi": _of_frames("ppi"),
    "width_mm": _of_frames("width_mm"),
    "height_mm": _of_frames("height_mm"),
    "size_mm": _size_mm,
    "format": _of_item("formats"),
    "films": _of_item("films"),
    "transcription": _of_item("transcription"),
    "captured": _captured,
    "processed": _of_item("processed"),
    "manifest_url": _of_item("manifest_url"),
    "image_urls": _of_frames("image_url"),
    "access_urls": _of_frames("access_url"),
    "thumbnail_urls": _of_frames("thumbnail_url"),
    "persistent_ids": lambda row: [each.value for each in row.item.persistent],
    "persistent_urls": _persistent_urls,
    "ark": lambda row: row.identifiers("ark"),
    "doi": lambda row: row.identifiers("doi"),
    "handle": lambda row: row.identifiers("hdl"),
    "urn": lambda row: row.identifiers("urn"),
    "delivery": _of_item("delivery"),
    "delivered": _of_item("delivered"),
    "bag": _of_item("bag"),
}
# Values that are whole URLs.
ADDRESSES = frozenset({"manifest_url", "image_urls", "access_urls", "thumbnail_urls"})
# `catalogue.` and one of these, or the name of a column of the catalogue that no field takes.
CATALOGUE = "catalogue."
_NOT_FIELDS = {"extra", "structure", "masters", "row", "rights"}
FIELDS = tuple(
    field.name for field in msgspec.structs.fields(CatalogueRow) if field.name not in _NOT_FIELDS
)
_RIGHTS = ("uri", "status", "holder", "note", "credit")
DEFAULT = (
    "item",
    "catalogue_item",
    "state",
    "reasons",
    "quality",
    "access",
    "masters",
    "master_sha256",
    "access_files",
    "ppi",
    "size_mm",
    "captured",
    "manifest_url",
    "image_urls",
    "access_urls",
    "thumbnail_urls",
    "decisions",
    "persistent_ids",
    "persistent_urls",
    "delivery",
    "delivered",
    "catalogue.title",
)


@dataclass(frozen=True)
class Template:
    """columns: (name in the files, name of the value), in their order."""

    columns: tuple[tuple[str, str], ...]
    by_frame: bool
    separator: str

    @property
    def names(self) -> list[str]:
        return [name for name, _ in self.columns]

    @property
    def asks_addresses(self) -> list[str]:
        return [value for _, value in self.columns if value in ADDRESSES]


def template(section: HandoverSection) -> Template:
    """Return the template of the settings. Raises GlassineError for a value that there is not, or a
    name that stands twice."""
    columns = [
        (each, each) if isinstance(each, str) else (each.column, each.value)
        for each in section.columns or DEFAULT
    ]
    unknown = [value for _, value in columns if not _is_known(value)]
    names = [name for name, _ in columns]
    twice = sorted({name for name in names if names.count(name) > 1})
    if unknown:
        raise _wrong(
            f"There is no value {unknown[0]!r}.",
            f"one of {', '.join(VALUES)}; or catalogue. and a field or a column of the catalogue, "
            f"such as {', '.join(CATALOGUE + name for name in FIELDS[:4])}.",
        )
    if twice:
        raise _wrong(f"The column {twice[0]!r} stands twice.", "each column once.")
    if not any(value == "item" for _, value in columns):
        raise _wrong("No column holds `item`.", "a column that tells which item a row is of.")
    return Template(tuple(columns), section.rows == "frame", section.separator)


def of_no_field(template: Template) -> list[str]:
    """Return the names after `catalogue.` that are no fields: it may be, columns."""
    names = [
        value.removeprefix(CATALOGUE)
        for _, value in template.columns
        if value not in VALUES and value.startswith(CATALOGUE)
    ]
    rights = {f"rights_{name}" for name in _RIGHTS}
    return [name for name in names if name not in {"date", *FIELDS, *rights}]


def _is_known(value: str) -> bool:
    return value in VALUES or (value.startswith(CATALOGUE) and len(value) > len(CATALOGUE))


def _wrong(what: str, expected: str) -> GlassineError:
    return GlassineError.because(
        "handover.columns",
        "config/config.yaml",
        f"`handover.columns`: {what}",
        expected,
        "Correct `handover.columns`; config/README.md lists the values.",
    )


def rows(facts: ItemFacts, template: Template, resolver: str) -> list[dict[str, Value]]:
    """Return the rows of an item, {name of the column: value}; one without frames has one."""
    if template.by_frame and facts.frames:
        parts = [Row(facts, (frame,), resolver) for frame in facts.frames]
    else:
        parts = [Row(facts, facts.frames, resolver)]
    return [
        {name: _plain(_value(row, value), template) for name, value in template.columns}
        for row in parts
    ]


def _plain(value: Value, template: Template) -> Value:
    """Return a value of a row of one frame without its list: it is of that frame."""
    if template.by_frame and isinstance(value, list) and len(value) == 1:
        return value[0]
    return value


def _value(row: Row, name: str) -> Value:
    if name in VALUES:
        return VALUES[name](row)
    return _of_catalogue(row.catalogue, name.removeprefix(CATALOGUE))


def _of_catalogue(row: CatalogueRow | None, name: str) -> Value:
    """Return a field of the catalogue's row, or a column that no field takes."""
    if row is None:
        return ""
    if name == "date":
        return row.date_text or row.edtf or ""
    rights = re.fullmatch("rights_(.+)", name)
    if rights and rights[1] in _RIGHTS:
        return str(getattr(row.rights, rights[1]))
    if name not in FIELDS:
        return row.extra.get(name, "")
    value = getattr(row, name)
    if value is msgspec.UNSET or value is None:
        return ""
    if isinstance(value, list):
        return [_text(each) for each in value]
    return value if isinstance(value, int | float) else str(value)


def _text(value: Any) -> str:
    """Return a value that has parts as a catalogue's cell writes it: name, URI in angle
    brackets; an identifier with its type."""
    if isinstance(value, str):
        return value
    parts = msgspec.to_builtins(value)
    if "value" in parts:
        kind, text = parts["type"], parts["value"]
        return text if kind in ("local", *persistent.SCHEMES) else f"{kind}:{text}"
    text = str(parts.get("term") or parts.get("name") or "")
    return f"{text} <{parts['uri']}>" if parts.get("uri") else text


def cell(value: Value, separator: str) -> str | int | float:
    """Return a value as one cell holds it: several stand side by side, and one that is lacking
    among them keeps its place."""
    if isinstance(value, list):
        texts = ["" if each is None else f"{each:.10g}" if isinstance(each, float) else str(each)
                 for each in value]  # fmt: skip
        if len(value) == 1 and isinstance(value[0], int | float):
            return value[0]
        return separator.join(texts) if any(texts) else ""
    return "" if value is None else value


def ambiguous(values: Sequence[Value], separator: str) -> bool:
    """Return whether one of several values in a cell holds the separator itself."""
    return any(
        separator in each
        for value in values
        if isinstance(value, list) and len(value) > 1
        for each in value
        if isinstance(each, str)
    )
