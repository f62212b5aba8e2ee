"""Catalogue rows from MODS and Dublin Core XML.

MODS: `modsCollection` or one `mods`. Dublin Core: any document whose records are elements that
hold `dc:` elements directly, as the wrappers `dc`, `record` and `rdf:Description` do. What is
read stands under the names of our own fields; what is not read stands under its path, so that
it is told like a column that no field takes.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from glassine.intake.catalogue import dublin_core, xml
from glassine.intake.catalogue import mods as catalogue_mods
from glassine.intake.given import CatalogueSection


def rows(path: Path, content: bytes, section: CatalogueSection) -> Iterator[tuple[int, xml.Cells]]:
    """Yield line number and cells of each record, cells under the names of our own fields.

    section: the settings `catalogue`; `item_identifier` is the type of the MODS identifier that
    is the item number. Raises GlassineError for what is no such XML.
    """
    root = xml.parse(path, content)
    mods = root.xpath("descendant-or-self::mods:mods", namespaces=xml.NAMESPACES)
    if mods:
        for record in mods:
            yield record.sourceline, catalogue_mods.cells(xml.Reading(record), section)
        return
    holders = root.xpath("descendant-or-self::*[dc:* or dcterms:*]", namespaces=xml.NAMESPACES)
    if not holders:
        raise xml.bad(path, "It holds neither MODS 3 nor Dublin Core records.")
    for record in holders:
        yield record.sourceline, dublin_core.cells(xml.Reading(record), section)
