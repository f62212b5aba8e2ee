"""Each field of one item: its value, and where in the catalogue it came from."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from glassine.base import access, clock, door, files
from glassine.base.model import ItemId
from glassine.base.records.catalogue import CatalogueRow
from glassine.intake import catalogue_place, side_files
from glassine.intake.catalogue import reading
from glassine.intake.catalogue.extract import FIELDS, Row
from glassine.intake.given import Settings
from glassine.intake.model import Collector

# Where a record has the value of a field that has another name there.
_PLACES: dict[str, tuple[str, ...]] = {
    "item_id": ("item",),
    "date": ("date_text",),
    "date_edtf": ("edtf",),
    "date_earliest": ("edtf",),
    "date_latest": ("edtf",),
    "creator": ("creators",),
    "creator_role": ("creators",),
    "creator_uri": ("creators",),
    "subject_uris": ("subjects",),
    "place_uris": ("places",),
    "rights_uri": ("rights", "uri"),
    "copyright_status": ("rights", "status"),
    "rights_holder": ("rights", "holder"),
    "rights_note": ("rights", "note"),
    "credit": ("rights", "credit"),
    "rights_access": ("access", "level"),
    "rights_embargo": ("access", "until"),
}


def fields_of(folder: Path, item: str, config: dict[str, Any]) -> list[str]:
    """Return in lines each field of an item that the catalogue says something of.

    folder: of the batch. Raises GlassineError where the catalogue cannot be trusted as a whole.
    """
    settings = msgspec.convert(config, Settings)
    path = side_files.find_catalogue(folder, door.listing(folder), settings, Collector())
    if path is None:
        return ["There is no catalogue."]
    trace = reading.Trace(item)
    numbers = settings.naming.same_number.rules()
    root = catalogue_place.root(folder, settings.catalogue.path)
    catalogue = reading.read_catalogue(path, settings, root, numbers, trace)
    if not trace.rows:
        return [f"{path.name} has no row of this item."]
    record = _record(catalogue, item, numbers.key)
    lines = [line for row in trace.rows for line in _of_row(path, row, record)]
    lines += [f"HELD {each.sentence()}" for each in catalogue.bad_items.values() if record is None]
    section = msgspec.convert(config.get("access", {}), access.AccessSection)
    now = access.of_row(record, section, clock.today())
    words = f"{now.pictures_in_words()} {now.delivered_in_words()}".rstrip()
    return [*lines, f"access today: {now.sentence()}. {words}"]


def _record(catalogue: reading.Catalogue, item: str, key: Any) -> CatalogueRow | None:
    named = (each for each in catalogue.records if key(each) == key(item))
    return catalogue.records.get(next(named, ItemId(item)))


def _of_row(path: Path, row: Row, record: CatalogueRow | None) -> list[str]:
    """Return the lines of a row: fields in their order, then what no field reads."""
    value: dict[str, Any] = msgspec.to_builtins(record) if record else {}
    lines = [f"catalogue {path.name}, row {row.number}"]
    for name in (*FIELDS, "rights"):
        where = row.origins.get(name, [])
        stated = _at(value, _PLACES.get(name, (name,)))
        if not where and (stated in (None, "", [], {}, "unknown") or name not in _SHOWN):
            continue
        shown = files.canonical(stated) if stated not in (None, "", []) else "nothing"
        lines.append(f"{name} = {shown if name != 'rights' else 'see below'}")
        lines += [f"    from {each}" for each in where] or [f"    {_SHOWN[name]}"]
    lines += [
        f"not read: {column}: {text[:200]}" for column, text in value.get("extra", {}).items()
    ]
    return lines


# Fields that have a value though no cell states one, and who says it.
_SHOWN = {
    "item_id": "by the number or place of the record, as the format has it",
    "rights_uri": "by the section `rights` of the settings",
    "copyright_status": "by the rights above, or the section `rights` of the settings",
    "rights_holder": "by the section `rights` of the settings",
    "credit": "by the section `rights` of the settings",
    "date_edtf": "made of the words of the date",
}


def _at(value: Any, steps: tuple[str, ...]) -> Any:
    for step in steps:
        value = value.get(step) if isinstance(value, dict) else None
    return value
