"""What paths cannot say for a format: dates of MARC, and what a component of EAD inherits."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any

from lxml import etree

from glassine.base import edtf
from glassine.intake import date_words
from glassine.intake.catalogue import dublin_core, mapped, mods
from glassine.intake.catalogue.unread import ABOVE
from glassine.intake.catalogue.xml import Cells
from glassine.intake.given import CatalogueSection

Helped = Callable[[mapped.Record, Cells], Cells]


def of(name: str | None, section: CatalogueSection, inherited: Counter[str]) -> Helped:
    """Return what completes the cells of a record."""
    reading = date_words.Reading(tuple(section.languages), section.day_first)
    if name == "marc":
        return lambda record, cells: _marc(record, cells, section, reading)
    if name == "ead":
        return lambda record, cells: _ead(record, cells, inherited)
    if name == "mods":
        return lambda record, cells: mods.by_helper(record, section, _number_in(cells))
    if name == "dublin core":
        return lambda record, cells: dublin_core.by_helper(record, section, _number_in(cells))
    return lambda record, cells: {}


def _number_in(cells: Cells) -> str:
    return str(cells.get("item_id") or "")


# --- MARC 21 ---

# Of a year of copyright: MARC 21, field 264, second indicator 4, and the usage of 260 $c.
_COPYRIGHT = re.compile(r"(?:\bc|\(c\)|©|\bcopyright\s+|\bcop\.\s*|℗|\bp(?=\d))\s?(\d{4})\b", re.I)
# MARC 21, 008/06: what the two dates after it are.
_ONE_DATE, _TWO_DATES, _OPEN_DATES = "sertp", "qikmdcu", "cu"


def _marc(
    record: mapped.Record, cells: Cells, section: CatalogueSection, reading: date_words.Reading
) -> Cells:
    out = _marc_dates(record, cells, reading)
    if section.item_identifier:
        out["item_id"] = marc_number(record, section.item_identifier)
    return out


def marc_number(record: mapped.Record, place: str) -> str:
    """Return the number at "035$a", or "001"."""
    tag, _, code = place.partition("$")
    path = f"controlfield[@tag='{tag}']"
    if code:
        path = f"datafield[@tag='{tag}']/subfield[@code='{code}']"
    if not re.fullmatch(r"\d{3}(?:\$[a-z0-9])?", place):
        return ""
    return next((record.take(hit) for hit in record.at(path) if record.look(hit)), "")


def _marc_dates(record: mapped.Record, cells: Cells, reading: date_words.Reading) -> Cells:
    """Return words, EDTF and bounds of the date.

    A year of copyright says when the right begins, not when the photograph was taken: where words
    hold one, the date is what the other words say, else what 008 says.
    """
    words = str(cells.get("date") or "")
    control = next((str(hit.text or "") for hit in record.at("controlfield[@tag='008']")), "")
    earliest, latest = coded_bounds(control)
    bounds = {"date_earliest": earliest, "date_latest": latest}
    protected = _COPYRIGHT.search(words)
    if not protected:
        return bounds | _plain_words(words, bounds, reading)
    rest = _COPYRIGHT.sub("", words).strip(" ,.;[]")
    interval = earliest if earliest == latest else f"{earliest}/{latest}"
    stated = date_words.read(rest, reading) if rest else None
    if stated:
        return {"date_edtf": stated, "date_earliest": "", "date_latest": ""}
    coded = interval if earliest and latest and edtf.is_valid(interval) else ""
    return {
        # Without the sign an "about" would be read from the letter.
        "date": words if coded else _COPYRIGHT.sub(r"© \1", words),
        "date_edtf": coded,
        "date_earliest": "",
        "date_latest": "",
    }


def _plain_words(words: str, bounds: Cells, reading: date_words.Reading) -> Cells:
    """Return the EDTF of words whose brackets are closed outside of them: "1960]." """
    bare = words.strip(" .,;")
    if bare.count("[") == bare.count("]"):
        return {}
    bare = f"[{bare.strip('[]')}]" if bare else ""
    stated = date_words.read(bare, reading) if bare else None
    return {"date_edtf": stated} if stated else {}


def coded_bounds(control: str) -> tuple[str, str]:
    """Return first and last year of field 008 (MARC 21, 008/06 to 008/14), "" where it has none.

    >>> coded_bounds("700330q19501959enk")
    ('1950', '1959')
    >>> coded_bounds("700330d19uu2006enk")
    ('1900', '2006')
    """
    kind, first, second = control[6:7], control[7:11], control[11:15]
    if not re.fullmatch(r"\d[\du]{3}", first):
        return "", ""
    earliest, latest = first.replace("u", "0"), first.replace("u", "9")
    if kind in _TWO_DATES and re.fullmatch(r"\d[\du]{3}", second):
        latest = second.replace("u", "9")
        latest = "" if second == "9999" else latest
    elif kind not in _ONE_DATE and kind not in _TWO_DATES:
        return "", ""
    return (earliest, latest) if not latest or earliest <= latest else ("", "")


# --- EAD ---

# What stands before the text of a level above, among the cells that no field takes.
RESTRICTED_ABOVE = f"accessrestrict {ABOVE}"
_BASIC_DAY = re.compile(r"(\d{4})(\d\d)(\d\d)")


def _ead(record: mapped.Record, cells: Cells, inherited: Counter[str]) -> Cells:
    """Return bounds and restrictions, and title, date and rights of the level above where a
    component has none."""
    bounds = _ead_bounds(record)
    out: Cells = {**bounds}
    if not cells.get("title"):
        out["title"] = _above(record, "did/unittitle") or _above(
            record, "eadheader//titleproper | control//titleproper"
        )
        inherited["title"] += bool(out["title"])
    if not cells.get("date") and not any(bounds.values()):
        out["date"] = _above(record, "did/unitdate | did/unittitle/unitdate")
        inherited["date"] += bool(out["date"])
    if not cells.get("rights_note"):
        out["rights_note"] = _above(record, "userestrict")
    own = [hit for hit in record.at("accessrestrict | did/accessrestrict") if record.look(hit)]
    if own:
        out["accessrestrict"] = " ".join(_without_head(record, hit) for hit in own)
        for hit in own:
            record.take(hit)
            record.pass_over("accessrestrict")
    else:
        out[RESTRICTED_ABOVE] = _above(record, "accessrestrict")
    return {name: value for name, value in out.items() if value}


def _ead_bounds(record: mapped.Record) -> Cells:
    """Return the bounds that the date is normalised to, as "1921/1995" or in two elements."""
    ends = [
        next((record.take(hit) for hit in record.at(path) if record.look(hit)), "")
        for path in (
            "did/unitdatestructured//fromdate/@standarddate | did/unitdatestructured//fromdate",
            "did/unitdatestructured//todate/@standarddate | did/unitdatestructured//todate",
        )
    ]
    normal = next((record.take(hit) for hit in record.at("did//unitdate/@normal")), "")
    if normal:
        first, slash, last = normal.partition("/")
        ends = [first, last if slash else first]
    first, last = (_BASIC_DAY.sub(r"\1-\2-\3", end) for end in ends)
    return {"date_earliest": first, "date_latest": last}


def _without_head(record: mapped.Record, hit: Any) -> str:
    """Return the words of a note without its heading."""
    parts = [each for each in hit if each.tag != "head"]
    return " ".join(record.look(part) for part in parts) if len(hit) else record.look(hit)


def _above(record: mapped.Record, path: str) -> str:
    """Return the text of the nearest level above that has one, in one line."""
    for holder in record.root.iterancestors():
        hits = [hit for hit in record.at(path, holder) if record.look(hit)]
        if hits and "restrict" in path:
            return " ".join(_without_head(record, hit) for hit in hits)
        if hits:
            return record.look(hits[0])
    return ""


def component_numbers(records: Iterator[Any], names: frozenset[str]) -> list[str]:
    """Return the item number of each component, in the order in which they end.

    Its unitid, else its id, else its containers, else its position; where several have the same
    containers, their position follows; where several have the same number, the number of the level
    above stands before it, as often as that takes.
    """
    numbers: list[str] = []
    boxes: dict[int, str] = {}  # numbers made of containers, with the position
    chains: list[tuple[str, ...]] = []
    ended: dict[Any, int] = {}  # components that ended within one that has not
    for element in records:
        holders = [each for each in element.iterancestors() if _local(each) in names]
        line = [element, *holders]
        positions = [ended.get(each, 0) + 1 for each in holders]
        aid = _aid(element)
        chain = [
            _own_number(each, aid, ".".join(map(str, reversed(positions[step:]))))
            for step, each in enumerate(line)
        ]
        ended = {each: ended.get(each, 0) for each in holders}
        if holders:
            ended[holders[0]] += 1
        if _in_containers(element):
            position = ".".join(map(str, reversed(positions)))
            boxes[len(numbers)] = f"{chain[0]}-{position or '1'}"
        numbers.append(chain[0])
        chains.append((*chain[1:], aid))
    counted = Counter(numbers)
    for index, with_position in boxes.items():
        if counted[numbers[index]] > 1:
            numbers[index] = with_position
    return _apart(numbers, chains)


def _apart(numbers: list[str], chains: list[tuple[str, ...]]) -> list[str]:
    """Return the numbers, those that repeat with the numbers of the levels above before them."""
    out = list(numbers)
    for step in range(max(map(len, chains), default=0)):
        counted = Counter(out)
        again = [index for index, number in enumerate(out) if counted[number] > 1]
        if not again:
            break
        for index in again:
            before = chains[index][step] if step < len(chains[index]) else ""
            if before and before != out[index]:
                out[index] = f"{before}/{out[index]}"
    return out


def _local(element: Any) -> str:
    return str(etree.QName(element).localname)


def _aid(element: Any) -> str:
    """Return the number of the finding aid that a component stands in."""
    for holder in element.iterancestors("{*}ead"):
        for path in ("{*}eadheader/{*}eadid", "{*}control/{*}recordid"):
            found = holder.find(path)
            text = "" if found is None else _line(found)
            if text:
                return text
    return ""


def _line(element: Any) -> str:
    return " ".join(mapped.plain_text(element).split())


def _in_containers(element: Any) -> bool:
    """Whether a component is numbered by its containers."""
    did = element.find("{*}did")
    if did is None or element.get("id"):
        return False
    own = any(_line(each) for each in did.findall("{*}unitid"))
    return not own and any(_line(each) for each in did.findall("{*}container"))


def _own_number(element: Any, aid: str, position: str) -> str:
    did = element.find("{*}did")
    for unitid in [] if did is None else did.findall("{*}unitid"):
        if text := _line(unitid):
            return text
    given = element.get("id") or element.get("{http://www.w3.org/XML/1998/namespace}id")
    if given and given.strip():
        return str(given.strip())
    containers = [] if did is None else did.findall("{*}container")
    places = [
        f"{each.get('type') or each.get('localtype') or each.get('label') or ''} {_line(each)}"
        for each in containers
        if _line(each)
    ]
    # A number made here can be a part of a file name.
    plain = [re.sub(r"[^\w.]+", "-", part).strip("-.") for part in [aid, *places]]
    made = "-".join(filter(None, plain))
    return made if places else "-".join(filter(None, [made, position or "1"]))
