"""The tag files of a bag against one another and against its payload."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Container, Iterator, Mapping
from typing import Any
from urllib.parse import unquote

import msgspec
from lxml import etree

from glassine.base.errors import Finding
from glassine.deliver import bag, handover, pages
from glassine.deliver.checks.item import BagItem, wrong
from glassine.record.parsed import ParsedRecord

STATEMENT = "delivery/delivery.json"
HANDOVER = "delivery/handover.json"
HANDOVER_CSV = "delivery/handover.csv"
INFO = "bag-info.txt"
_REVISION = re.compile(r".+\.r([1-9]\d*)")


def of_handover(items: list[BagItem], listed: Any) -> Iterator[Finding]:
    """Yield where the hand-over list and the packages do not hold the same pictures."""
    by_name = {item.name: item for item in items}
    rows = {
        row["item"]: row
        for row in listed["items"]
        if row.get("files") or row.get("state") == handover.DELIVERED
    }
    for name in sorted(set(rows) - set(by_name)):
        what = f"handover.json lists files of {name}, which is not there."
        yield wrong("delivered.handover_item", HANDOVER, what, "the items of the bag.")
    for name, item in by_name.items():
        row = rows.get(name)
        if row is None:
            what = f"It does not list the item {name}."
            yield wrong("delivered.handover_item", HANDOVER, what, "every item of the bag.")
            continue
        stated = {
            entry["file"]
            for entry in row["files"]
            if entry.get("delivery", listed["delivery"]) == listed["delivery"]
        }
        pictures = _in_package(item, ("masters/", "access/", "thumbs/", "alternates/"))
        raws = _in_package(item, ("raw/",))  # not listed by every version
        for path in sorted((pictures - stated) | (stated - pictures - raws)):
            yield wrong(
                "delivered.handover_files",
                HANDOVER,
                f"The list and the package of {name} do not agree on {path}.",
                "every master and picture of the package listed, and no other.",
            )


def _in_package(item: BagItem, folders: tuple[str, ...]) -> set[str]:
    """Return the paths in the package of files in these folders of the plain layout."""
    return {
        path.removeprefix(f"{item.root}/")
        for plain, path in item.plain.items()
        if plain.startswith(folders)
    }


def of_item(
    row: Any, lines: set[str] | None, item: BagItem, record: ParsedRecord
) -> Iterator[Finding]:
    """Yield where hand-over list or README.txt call an item otherwise than its record.

    row: of the item in handover.json. lines: of README.txt, None where the bag has none, as those
    of earlier versions.
    """
    title = str(row.get("title") or item.name)
    label = record.root.get("LABEL") or ""
    if "title" in row and " ".join(title.split()) != " ".join(label.split()):
        what = f"It gives {item.name} the title {title!r}."
        yield wrong("delivered.handover_title", HANDOVER, what, f"{label!r}, as METS has it.")
    line = pages.line_of(msgspec.convert(row, handover.ItemRow))
    if lines is not None and f"  {line}" not in lines:
        what = f"It has no line of {item.name} as the hand-over list would have it."
        yield wrong("delivered.readme", pages.README, what, f"{line!r}.")


def of_page(
    name: str, content: bytes, there: Container[str], rows: Mapping[str, Any]
) -> Iterator[Finding]:
    """Yield links of a page that lead to no file of the bag, anything in it that runs, and items
    that it calls otherwise than the hand-over list. rows: of that, by item."""
    root: Any = etree.fromstring(content, etree.HTMLParser(encoding="utf-8", no_network=True))
    active = root.xpath(
        "//script | //iframe | //object | //embed | //form | //@*[starts-with(name(), 'on')]"
    )
    if active:
        what = "It holds what a browser would run."
        yield wrong("delivered.page", name, what, "texts, pictures and links alone.")
    for section in root.xpath("//section[@id]"):
        row = rows.get(unquote(section.get("id")), {})
        said = " ".join("".join(section.itertext()).split())
        for key in ("title", "date"):
            text = " ".join(pages.text_of(row.get(key, "")).split())
            if text not in said:
                what = f"It does not give {row['item']} the {key} of the hand-over list."
                yield wrong("delivered.page", name, what, f"{text!r}.")
    for target in sorted({str(each) for each in root.xpath("//@href | //@src")}):
        if unquote(target) not in there:
            what = f"It leads to {target!r}, which is no file of the bag."
            yield wrong("delivered.page", name, what, "links to files of the bag.")


def of_csv(content: bytes, listed: Any) -> Iterator[Finding]:
    """Yield where handover.csv does not say what handover.json says."""
    rows = list(csv.DictReader(io.StringIO(content.decode("utf-8"), newline="")))
    expected = []
    for item in listed["items"]:
        shared = {key: value for key, value in item.items() if key != "files"}
        expected += [{**shared, **entry} for entry in item.get("files") or [{}]]
    if len(rows) != len(expected):
        what = f"It has {len(rows)} rows."
        yield wrong("delivered.handover_csv", HANDOVER_CSV, what, f"{len(expected)}.")
        return
    for number, (row, entry) in enumerate(zip(rows, expected, strict=True), 2):
        for column, value in entry.items():
            text = "" if value is None else str(value)
            if column in row and row[column] not in (text, handover.harmless(text)):
                yield wrong(
                    "delivered.handover_csv",
                    HANDOVER_CSV,
                    f"Line {number} has {row[column]!r} as its {column}.",
                    f"{text!r}, as handover.json has it.",
                )


def of_statement(stated: Any, info: list[tuple[str, str]]) -> Iterator[Finding]:
    """Yield where delivery.json and bag-info.txt do not fit."""
    delivery, revision = str(stated["delivery"]), stated["revision"]
    match = _REVISION.fullmatch(delivery)
    expected = int(match[1]) if match else 1
    if revision != expected or not delivery.startswith(str(stated["batch"])):
        what = f"{delivery} calls itself revision {revision} of {stated['batch']}."
        yield wrong("delivered.revision", STATEMENT, what, f"revision {expected}.")
    tags = _values(info)
    replaced = [stated["replaces"], *stated.get("also_replaces", [])]
    facts = {
        "Bag-Group-Identifier": [delivery],
        "Replaces-Delivery": [name for name in replaced if name],
        "Continues-Delivery": [stated["continues"]] if stated["continues"] else [],
        "Bag-Count": _count(stated["bag"]),
    }
    for label, values in facts.items():
        if tags.get(label, []) != values:
            yield wrong(
                "delivered.info_fact",
                INFO,
                f"{label} is {', '.join(tags.get(label, [])) or 'missing'}.",
                f"{', '.join(values) or 'none'}, as delivery.json has it.",
            )
    yield from _places(stated)
    for label, entries in (
        ("Lacking-Item", stated.get("lacking", [])),
        ("Withdrawn-Item", stated.get("withdrawn", [])),
    ):
        if len(tags.get(label, [])) != len(entries):
            yield wrong(
                "delivered.info_fact",
                INFO,
                f"It has {len(tags.get(label, []))} tags {label}.",
                f"{len(entries)}, as delivery.json has them.",
            )
    described = tags.get("External-Description", [""])[0]
    number = re.match(r"(\d{1,7}) digitized items", described)
    if number and int(number[1]) != len(stated["items"]):
        what = f"External-Description says {number[1]} items."
        yield wrong("delivered.info_fact", INFO, what, f"{len(stated['items'])}.")


def _places(stated: Any) -> Iterator[Finding]:
    """Yield items of the bag of which delivery.json says that they lie elsewhere, or otherwise."""
    digests = {entry["item"]: entry["digest"] for entry in stated["items"]}
    for place in stated.get("lies", []):
        known = digests.get(place["item"])
        if known is not None and (place["delivery"], place["digest"]) != (
            stated["delivery"],
            known,
        ):
            what = f"It says that {place['item']} lies in {place['delivery']}, or is another one."
            yield wrong("delivered.lies", STATEMENT, what, "the item as this bag has it.")


def of_date(info: list[tuple[str, str]], delivered: str) -> Iterator[Finding]:
    """Yield where bag-info.txt has another day than the hand-over list. delivered: its time."""
    stated = _values(info).get("Bagging-Date", [])
    if stated != [delivered[:10]]:
        what = f"Bagging-Date is {', '.join(stated) or 'missing'}."
        yield wrong("delivered.info_fact", INFO, what, f"{delivered[:10]}, as {HANDOVER} has it.")


def _count(stated: dict[str, int]) -> list[str]:
    return [f"{stated['number']} of {stated['of']}"] if stated["of"] > 1 else []


def _values(info: list[tuple[str, str]]) -> dict[str, list[str]]:
    tags: dict[str, list[str]] = {}
    for label, value in info:
        tags.setdefault(label, []).append(value)
    return tags


def of_keeper(
    info: list[tuple[str, str]], profile: Any, item: BagItem, record: ParsedRecord
) -> Iterator[Finding]:
    """Yield where who delivers is not who the record of an item, or the BagIt profile, names."""
    keeper = _values(info).get("Source-Organization", [""])[0]
    agents = record.texts(
        "//mets:metsHdr/mets:agent[@ROLE='CREATOR' and @TYPE='ORGANIZATION']/mets:name"
    )
    if keeper not in (*agents, "" if agents else keeper):
        yield wrong(
            "delivered.keeper",
            INFO,
            f"Source-Organization is {keeper!r}.",
            f"{', '.join(agents)}, as the records of the items have it.",
        )
    known = record.texts(
        "//mets:metsHdr/mets:agent[@ROLE='CREATOR' and @TYPE='ORGANIZATION']/mets:note"
    )
    external = _values(info).get("External-Identifier", [""])[0]
    if known and not external.startswith(known[0]):
        what = f"External-Identifier is {external!r}."
        expected = f"one that begins with {known[0]}, as the records of the items have it."
        yield wrong("delivered.keeper", INFO, what, expected)
    stated = (profile or {}).get("BagIt-Profile-Info", {}).get("Source-Organization", keeper)
    if stated != keeper:
        what = f"Source-Organization is {keeper!r}."
        yield wrong("delivered.keeper", INFO, what, f"{stated}, as the BagIt profile has it.")


def parsed_info(content: bytes) -> list[tuple[str, str]]:
    """Return the tags of bag-info.txt. Raises ValueError."""
    return bag.parsed_info(content.decode("utf-8"))
