"""What records and lists say of an item, made again of the steps' own records and compared whole.

MODS, Dublin Core and the presentation manifest follow from embedded.json (the catalogue's row, who
keeps it, its rights), the hand-over list from the files and the records of the steps. MODS and the
manifest are made again where the bag was made by the same version of the step that writes them;
another version may word things otherwise, and then only single facts are compared (see `steps`).
"""

from __future__ import annotations

import json
import posixpath
from collections.abc import Iterator
from typing import Any

import msgspec
from lxml import etree

from glassine.base import access, files, markup, rights
from glassine.base.errors import Finding
from glassine.base.model import BatchId, ItemId
from glassine.base.records.catalogue import NO_ROW, CatalogueRow
from glassine.base.records.embedded import Embedded, EmbeddedFile
from glassine.base.records.fixity import Fixity
from glassine.base.records.given import Institution, RightsSection
from glassine.base.records.package import PackagedFile
from glassine.base.records.quality import Quality
from glassine.base.records.render import Rendering
from glassine.deliver import handover
from glassine.deliver.checks.item import BagItem, wrong
from glassine.deliver.checks.said import parsed
from glassine.deliver.checks.steps import packet_of
from glassine.embed import step as embed
from glassine.record import capture_time, dublin_core, mods, presentation, step
from glassine.record.given import IiifSection, RecordGiven, Settings
from glassine.record.parsed import ParsedRecord

# Of the version of the step, that of the manifest: where one is raised, the other must be.
MANIFEST_OF = {"8": "3"}
_LIST = "delivery/handover.json"
# What MODS says that follows from settings or records which a bag does not hold.
_NOT_FROM_HERE = (
    "mods:relatedItem[@displayLabel='roll'] | .//mods:note[@type='format' or @type='film']"
)
_MANIFEST = "/manifest.json"
_MAX_SHOWN = 120


def check(item: BagItem, record: ParsedRecord) -> Iterator[Finding]:
    """Yield where MODS, Dublin Core and the presentation manifest are not what embedded.json makes
    of them. Raises as `item.json`, and msgspec.ValidationError for records of another form."""
    if _step(item, record) != step.VERSION:
        return
    embedded = msgspec.convert(item.json("metadata/embedded.json"), Embedded)
    given = _given(item, embedded)
    yield from _described(item, record, given)
    yield from _named(item, record, embedded)
    if embedded.event.detail.get("step") == embed.VERSION:
        yield from _packets(item, embedded, given)
    if item.has("manifest.json") and MANIFEST_OF.get(step.VERSION) == presentation.VERSION:
        yield from _presented(item, given, embedded)


def _step(item: BagItem, record: ParsedRecord) -> str:
    """Return the version of the step that wrote the record, "" where it does not say it."""
    detail = record.find(
        "//premis:event[premis:eventIdentifier/premis:eventIdentifierValue=$name]"
        "//premis:eventDetail",
        name=f"{record.item}#record",
    )
    try:
        return str(json.loads(detail[0].text or "")["step"])
    except (LookupError, ValueError, TypeError):
        return ""


def _given(item: BagItem, embedded: Embedded) -> RecordGiven:
    """Return what record was given, as far as embedded.json keeps it."""
    detail = markup.cleaned(embedded.event.detail)
    row = detail.get("catalogue")
    known = item.json("manifest.json") if item.has("manifest.json") else {}
    ending = f"/{item.name}{_MANIFEST}"
    services = json.dumps(known)
    return RecordGiven(
        batch=BatchId("b"),
        item=ItemId(item.name),
        masters=(),
        catalogue=None if row is None else msgspec.convert(row, CatalogueRow),
        access=msgspec.convert(detail.get("access", {}), access.Access),
        institution=msgspec.convert(detail.get("institution") or {}, Institution),
        settings=Settings(
            rights=msgspec.convert(detail["settings"].get("rights") or {}, RightsSection),
            iiif=IiifSection(
                base_url=str(known.get("id", "")).removesuffix(ending),
                image_api="2" if '"ImageService2"' in services else "3",
            ),
        ),
    )


def _described(item: BagItem, record: ParsedRecord, given: RecordGiven) -> Iterator[Finding]:
    row: CatalogueRow = given.catalogue or NO_ROW
    about: tuple[CatalogueRow, rights.Rights, str, str] = (
        row,
        given.rights,
        item.name,
        given.institution.name,
    )
    holder = record.find("//mets:mdWrap[@MDTYPE='DC']/mets:xmlData")
    stated = [child for each in holder for child in each]
    made = dublin_core.build(*about, given.access)
    yield from _compared(item, "Dublin Core", list(map(_line, stated)), list(map(_line, made)))
    for each in record.find("//mods:mods"):
        yield from _compared(
            item, "MODS", _lines(each), _lines(mods.build(*about, access=given.access))
        )


def _lines(root: Any) -> list[str]:
    left_out = {
        inner
        for each in root.xpath(_NOT_FROM_HERE, namespaces={"mods": markup.MODS})
        for inner in each.iter()
    }
    return [_line(each) for each in root.iter("*") if each not in left_out]


def _line(node: Any) -> str:
    """Return an element with its attributes and its own text, on one line."""
    name = etree.QName(node).localname
    attributes = "".join(f" {key}={value!r}" for key, value in sorted(node.attrib.items()))
    return f"{name}{attributes}: {' '.join((node.text or '').split())}"


def _compared(item: BagItem, what: str, stated: list[str], made: list[str]) -> Iterator[Finding]:
    if stated == made:
        return
    odd = next((each for each in stated if each not in made), "the order of its elements")
    missing = next((each for each in made if each not in stated), "the same in its order")
    yield wrong(
        "delivered.described_whole",
        item.record,
        f"{what} is not what embedded.json makes of it, say {odd[:_MAX_SHOWN]!r}.",
        f"{missing[:_MAX_SHOWN]!r}.",
    )


def _presented(item: BagItem, given: RecordGiven, embedded: Embedded) -> Iterator[Finding]:
    render = msgspec.convert(item.json("metadata/render.json"), Rendering)
    shown = [file for file in embedded.files if not access.stays(file.path)]
    of_package = msgspec.structs.replace(embedded, files=shown)
    built = presentation.manifest(given, render, of_package)
    made = json.loads(files.dump_json(msgspec.to_builtins(built)))
    stated = item.json("manifest.json")
    if stated != made:
        keys = sorted(key for key in {*stated, *made} if stated.get(key) != made.get(key))
        yield wrong(
            "delivered.manifest_whole",
            item.path("manifest.json"),
            f"Its {', '.join(keys)} is not what the records make of it.",
            "the manifest as delivered.",
        )
    for frame in render.frames:
        info = f"iiif/{frame.iiif_id}/info.json"
        if item.has(info):
            address = f"{given.settings.iiif.address}/{frame.iiif_id}"
            stated_id = item.json(info).get("id") or item.json(info).get("@id")
            if stated_id != address:
                what = f"It calls the picture {stated_id!r}."
                yield wrong("delivered.info_id", item.path(info), what, f"{address!r}.")


def _named(item: BagItem, record: ParsedRecord, embedded: Embedded) -> Iterator[Finding]:
    """Yield where METS says otherwise when it was made, or of what format and name a file is."""
    fixity = msgspec.convert(item.json("metadata/fixity.json"), Fixity)
    written = record.find(
        "//premis:event[premis:eventIdentifier/premis:eventIdentifierValue=$name]"
        "/premis:eventDateTime",
        name=f"{record.item}#record",
    )
    facts: list[tuple[str, str, list[str], list[str]]] = [
        (
            "METS.xml",
            "CREATEDATE",
            [record.find("//mets:metsHdr")[0].get("CREATEDATE")],
            [each.text for each in written],
        )
    ]
    designation = "premis:objectCharacteristics/premis:format/premis:formatDesignation"
    named = [
        (f"masters/{each.path}", each.header.format_name, [each.path]) for each in fixity.masters
    ]
    named += [(each.path, each.format_name, []) for each in embedded.files]
    for path, name, original in named:
        file = record.files.get(path)
        premis = record.wrapped(file, "PREMIS:OBJECT") if file is not None else None
        if premis is not None:
            stated = record.texts(f"{designation}/premis:formatName", premis)
            facts.append((path, "formatName", stated, [name]))
            facts.append(
                (path, "originalName", record.texts("premis:originalName", premis), original)
            )
    for master in fixity.masters:
        file = record.files.get(f"masters/{master.path}")
        mix = record.wrapped(file, "NISOIMG") if file is not None else None
        if mix is not None:
            when = capture_time.taken(master.header)
            stated = record.texts(".//mix:GeneralCaptureInformation/mix:dateTimeCreated", mix)
            facts.append((master.path, "dateTimeCreated", stated, [when] if when else []))
    for agent in record.find("//premis:agent"):
        named_by = [f"premis:agent{part}" for part in ("Type", "Name", "Version")]
        parts = [text for each in named_by for text in record.texts(each, agent)]
        known = "premis:agentIdentifier/premis:agentIdentifierValue"
        facts.append(("an agent", "name", ["/".join(parts)], record.texts(known, agent)))
    for path, what, stated, made in facts:
        if stated != made:
            yield wrong(
                "delivered.record_facts",
                item.record,
                f"Of {path} it has {', '.join(stated) or 'nothing'} as {what}.",
                f"{', '.join(made) or 'nothing'}, as the records of the steps have it.",
            )


def _packets(item: BagItem, embedded: Embedded, given: RecordGiven) -> Iterator[Finding]:
    """Yield JPEGs whose XMP packet lacks what they were given, or names another origin."""
    words = embed.words_of(
        item.name,
        given.catalogue,
        given.institution,
        embedded.event.detail["settings"].get("rights") or {},
        given.access,
    )
    render = msgspec.convert(item.json("metadata/render.json"), Rendering)
    fixity = msgspec.convert(item.json("metadata/fixity.json"), Fixity)
    verified = {each.path: each.digests.sha256 for each in fixity.masters}
    rendered = {each.name: each.sha256 for frame in render.frames for each in frame.files}
    wanted = [words.title, words.description, *words.creators, *words.subjects]
    wanted += [place for place, _ in words.places]
    wanted += [words.copyright_notice, words.usage_terms, words.web_statement, words.credit]
    for file in embedded.files:
        packet = packet_of(item, file.path) if file.use in ("access", "thumb") else b""
        if not packet:
            continue
        try:
            root = parsed(packet)
        except (etree.XMLSyntaxError, ValueError):
            continue  # told by `steps`
        has = {" ".join((node.text or "").split()) for node in root.iter("*")}
        pixels = rendered.get(file.path.rpartition("/")[2], "")
        origins = (f"sha256:{verified[file.master]}", f"sha256:{pixels}")
        for text in [" ".join(each.split()) for each in (*wanted, *origins) if each]:
            if text not in has:
                what = f"Its XMP packet does not have {text[:_MAX_SHOWN]!r}."
                expected = "what the records of the steps have."
                yield wrong("delivered.xmp_facts", item.path(file.path), what, expected)


# --- the hand-over list ---------------------------------------------------------------------------


def row(item: BagItem, listed: Any, delivery: str) -> Iterator[Finding]:
    """Yield where the hand-over list says otherwise of an item and its files than they do.

    listed: the item's entry; delivery: that the list is of. What a list does not have, as those of
    earlier versions, is not missed."""
    records = handover.Records(
        msgspec.convert(item.json("metadata/embedded.json"), Embedded),
        msgspec.convert(item.json("metadata/fixity.json"), Fixity),
        msgspec.convert(item.json("metadata/render.json"), Rendering),
        msgspec.convert(item.json("metadata/quality.json"), Quality),
        item.json("manifest.json").get("id") or "" if item.has("manifest.json") else "",
    )
    plain = {path: name for name, path in item.plain.items()}
    here = [each for each in listed["files"] if each.get("delivery", delivery) == delivery]
    entries = [
        _packaged(item, each["file"], plain[place], records.embedded)
        for each in here
        if (place := posixpath.join(item.root, each["file"])) in plain
    ]
    made = msgspec.to_builtins(handover.described(item.name, records, entries, ""))
    by_file = {each["file"]: each for each in made.pop("files")}
    yield from _fields(item, listed, made, ("bag", "files"))
    for each in here:
        if each["file"] in by_file:
            yield from _fields(item, each, by_file[each["file"]], ("sha256",))


def _fields(item: BagItem, stated: Any, made: Any, skipped: tuple[str, ...]) -> Iterator[Finding]:
    for key, value in made.items():
        if key in stated and key not in skipped and stated[key] != value:
            yield wrong(
                "delivered.handover_facts",
                _LIST,
                f"It gives {item.name} {stated.get('file', '')} {stated[key]!r} as its {key}.",
                f"{value!r}.",
            )


def _packaged(item: BagItem, path: str, plain: str, embedded: Embedded) -> PackagedFile:
    folder, _, below = plain.partition("/")
    written: dict[str, EmbeddedFile] = {each.path: each for each in embedded.files}
    use: Any = {"masters": "master", "raw": "raw"}.get(folder) or written[plain].use
    found = item.digests(plain)
    if found is None:
        raise LookupError(plain)
    return PackagedFile(
        path=path,
        source=f"master:{below}" if use in ("master", "raw") else f"item:{plain}",
        use=use,
        bytes=found.bytes,
        sha256=found.sha256,
        sha512=found.sha512,
    )
