"""The record of an item against its own rules, the official schemas, and the item's files."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from lxml import etree

from glassine.base import hashing, markup
from glassine.base.errors import Finding
from glassine.deliver.checks import eark, pictures, tiles
from glassine.deliver.checks.item import NEXT, BagItem, wrong
from glassine.record import check as record_check
from glassine.record import official, rules
from glassine.record.parsed import ParsedRecord

PROFILE = "urn:glassine:profile:item:1"
# Files of a package that the record does not list.
_OWN = ("METS.xml",)
_BESIDE = ("companions/",)


def record_of(item: BagItem) -> ParsedRecord:
    """Return the record of an item, its references by plain path. Raises Damaged where it is not
    there, etree.XMLSyntaxError or ValueError for what is no such XML."""
    root = parsed(item.content(item.record))
    if item.layout == "eark":
        for place in root.iter(f"{{{markup.METS}}}FLocat"):
            place.set(f"{{{markup.XLINK}}}href", eark.plain_href(place))
    return ParsedRecord(root, Path("METS.xml"), Path(item.name), {}, {}, False)


def parsed(content: bytes) -> Any:
    """Return the root of hostile XML. Raises etree.XMLSyntaxError, ValueError."""
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, remove_comments=True
    )
    root = etree.fromstring(content, parser)
    information: Any = root.getroottree().docinfo
    if information.doctype:
        raise ValueError("it has a document type declaration, which no record needs")
    return root


def check(item: BagItem, record: ParsedRecord, schema_dir: Path | None) -> Iterator[Finding]:
    """Yield what is wrong with what the record says, and where files are not as it says."""
    yield from _files(item, record)
    yield from _trees(item, record)
    yield from _pictures(item, record)
    yield from _rules(item, record)
    if schema_dir is not None:
        yield from _as_delivered(item, official.check_root(record.root, "METS.xml", schema_dir))


def _as_delivered(item: BagItem, findings: list[Finding]) -> Iterator[Finding]:
    """Yield findings of a record's own check with paths and advice for who receives it."""
    for finding in findings:
        name, _, line = finding.path.partition(", line ")
        path = item.record + (f", line {line}" if line else "")
        path = item.path(name) if name != "METS.xml" else path
        yield replace(finding, path=path, next_step=NEXT)


def _rules(item: BagItem, record: ParsedRecord) -> Iterator[Finding]:
    if record.root.get("PROFILE") != PROFILE:
        yield wrong(
            "delivered.record_profile",
            item.record,
            f"It follows the profile {record.root.get('PROFILE')!r}, whose rules are not known.",
            f"{PROFILE}.",
        )
    named = {item.name, record.item}
    local = record.texts("//mods:mods/mods:identifier[@type='local'][1]")
    if len(named) > 1 or item.name not in local:
        yield wrong(
            "delivered.record_item",
            item.record,
            f"It is the record of {record.item!r}, with the local identifiers {local}.",
            f"the record of {item.name}.",
        )
    yield from _as_delivered(item, record_check.said(record))


def _files(item: BagItem, record: ParsedRecord) -> Iterator[Finding]:
    for path, file in record.files.items():
        found = item.digests(path)
        premis = record.wrapped(file, "PREMIS:OBJECT")
        if path in item.elsewhere:
            yield from _elsewhere(item, record, path, premis)
            continue
        if found is None and record.is_kept_back(path):
            continue  # its digests are compared with those of fixity.json
        if found is None:
            yield wrong(
                "delivered.record_missing", item.path(path), "The record lists it.", "the file."
            )
            continue
        if premis is None:
            continue  # told by the record's own rules
        characteristics = "premis:objectCharacteristics"
        stated = rules.digests(record, premis, f"{characteristics}/premis:fixity", "premis")
        actual = {"SHA-256": found.sha256, "SHA-512": found.sha512}
        for algorithm in sorted(set(stated) & set(actual)):
            if stated[algorithm] != actual[algorithm]:
                yield wrong(
                    "delivered.premis_digest",
                    item.path(path),
                    f"Its {algorithm} is not the one in PREMIS.",
                    f"{algorithm} {stated[algorithm]}.",
                )
        if record.texts(f"{characteristics}/premis:size", premis) != [str(found.bytes)]:
            what = f"It has {found.bytes} bytes, which is not the size in PREMIS."
            yield wrong("delivered.premis_size", item.path(path), what, "the recorded size.")
    for path in sorted(set(item.plain) - set(record.files)):
        tile = path.startswith("iiif/") and not path.endswith("/info.json")
        if not tile and path not in _OWN and not path.startswith(_BESIDE):
            yield wrong(
                "delivered.record_unlisted",
                item.path(path),
                "The record does not list it.",
                "only files that the record lists.",
            )


def _elsewhere(item: BagItem, record: ParsedRecord, path: str, premis: Any) -> Iterator[Finding]:
    """Yield where the record has other digests of a file that an earlier delivery has than the
    inventory of the object."""
    if premis is None:
        return
    stated = rules.digests(record, premis, "premis:objectCharacteristics/premis:fixity", "premis")
    sha256, sha512 = item.elsewhere[path]
    known = {"SHA-512": sha512} | ({"SHA-256": sha256} if sha256 else {})
    if any(stated.get(name, digest) != digest for name, digest in known.items()):
        what = f"The record has other digests of {path} than the inventory of the object."
        yield wrong("delivered.record_earlier", item.record, what, "the same in both.")


def _trees(item: BagItem, record: ParsedRecord) -> Iterator[Finding]:
    """Yield folders of tiles whose joint digest is not the one in the record."""
    for folder, paths in sorted(tiles.folders(item).items()):
        file = record.files.get(f"{folder}/info.json")
        premis = record.wrapped(file, "PREMIS:OBJECT") if file is not None else None
        if premis is None or len(paths) == 1 or item.elsewhere:
            continue  # an object is looked at as a whole where all of it is
        digests = {path.removeprefix(folder + "/"): item.digests(path) for path in paths}
        joint = hashing.of_tree({path: each.sha256 for path, each in digests.items() if each})
        properties = "premis:significantProperties/premis:significantPropertiesValue"
        stated = record.texts(properties, premis)[:2]
        if stated != [joint, str(len(paths))]:
            yield wrong(
                "delivered.tiles_digest",
                item.path(folder),
                f"Its {len(paths)} files of tiles have another joint digest than the record.",
                f"{stated[1] if len(stated) > 1 else 'as many'} files with the recorded digest.",
            )


def _pictures(item: BagItem, record: ParsedRecord) -> Iterator[Finding]:
    """Yield pictures that are not what their MIX says."""
    for path, file in record.files.items():
        mix = record.wrapped(file, "NISOIMG")
        raw = path.startswith("raw/")  # its first directory is a preview's, if it has any
        if mix is None or raw or not item.has(path) or item.digests(path) is None:
            continue
        try:
            with item.open(path) as opened:
                found = pictures.seen(opened, item.reading.store.files[item.plain[path]])
        except pictures.Odd as problem:
            what = f"It is no sound picture: {problem}."
            yield wrong("delivered.picture", item.path(path), what, "the picture as delivered.")
            continue
        if found is not None:
            yield from _against_mix(item, record, path, mix, found)


def _against_mix(
    item: BagItem, record: ParsedRecord, path: str, mix: Any, found: pictures.Seen
) -> Iterator[Finding]:
    basic = "mix:BasicDigitalObjectInformation"
    shape = "mix:BasicImageInformation/mix:BasicImageCharacteristics"
    coding = "mix:ImageAssessmentMetadata/mix:ImageColorEncoding"
    bits = [str(found.bits)] * found.samples
    facts = {
        "width": ([str(found.width)], record.texts(f"{shape}/mix:imageWidth", mix)),
        "height": ([str(found.height)], record.texts(f"{shape}/mix:imageHeight", mix)),
        "bits": (bits, record.texts(f"{coding}/mix:BitsPerSample/mix:bitsPerSampleValue", mix)),
        "samples": ([str(found.samples)], record.texts(f"{coding}/mix:samplesPerPixel", mix)),
        "byte order": ([found.byte_order], record.texts(f"{basic}/mix:byteOrder", mix)),
    }
    if found.compression:
        scheme = f"{basic}/mix:Compression/mix:compressionScheme"
        facts["compression"] = ([found.compression], record.texts(scheme, mix))
    for name, (is_so, stated) in facts.items():
        if is_so != stated:
            yield wrong(
                "delivered.mix",
                item.path(path),
                f"MIX gives its {name} as {', '.join(stated) or 'nothing'}.",
                f"{', '.join(is_so)}, as the picture has it.",
            )
