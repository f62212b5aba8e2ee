"""Rules on what a record says: its form, what its parts say of each other.

METS lets any XML stand inside a wrapper, MIX has no obligatory element, and the common XSD
engine does not follow IDREFs; so a record that the official schemas accept may still be wrong.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from lxml import etree

from glassine.base import edtf as dates
from glassine.base import markup
from glassine.base.errors import Finding
from glassine.record.parsed import ParsedRecord, finding

PROFILE_PATH = Path(__file__).with_name("profile.rng")
_KNOWN = frozenset(markup.NAMESPACES.values())
# The namespace that each kind of wrapped record must have.
_WRAPPED = {
    "MODS": {markup.MODS},
    "DC": {markup.DC, markup.DCTERMS},
    "PREMIS:OBJECT": {markup.PREMIS},
    "PREMIS:EVENT": {markup.PREMIS},
    "PREMIS:AGENT": {markup.PREMIS},
    "PREMIS:RIGHTS": {markup.PREMIS},
    "NISOIMG": {markup.MIX},
}
_VERSIONS = {
    "MODS": "3.8",
    "PREMIS:OBJECT": "3.0",
    "PREMIS:EVENT": "3.0",
    "PREMIS:AGENT": "3.0",
    "PREMIS:RIGHTS": "3.0",
    "NISOIMG": "2.0",
}
_IMAGES = (
    "image/tiff",
    "image/jpeg",
    "image/webp",
    "image/avif",
    "image/jp2",
    "image/x-adobe-dng",
    "image/x-camera-raw",
)


def prepare() -> None:
    """Read the project's own profile, once a process."""
    _relax_ng()


@cache
def _relax_ng() -> Any:
    return etree.RelaxNG(etree.parse(str(PROFILE_PATH)))


def profile(record: ParsedRecord) -> Iterator[Finding]:
    schema = _relax_ng()
    if schema.validate(record.root):
        return
    errors = list(schema.error_log)[:5]
    for error in errors:
        yield finding(
            "profile",
            f"{record.name}, line {error.line}",
            f"It breaks the project's profile: {error.message}.",
            "what scripts/glassine/record/profile.rng describes.",
        )


def namespaces(record: ParsedRecord) -> Iterator[Finding]:
    strange = {
        etree.QName(node).namespace or "(none)"
        for node in record.root.iter(etree.Element)
        if etree.QName(node).namespace not in _KNOWN
    }
    for namespace in sorted(strange):
        yield finding(
            "namespace",
            record.name,
            f"It has elements of the namespace {namespace!r}.",
            "the namespaces of METS, MODS 3, Dublin Core, PREMIS 3 and MIX 2.0, letter by letter.",
        )
    for wrapper in record.find("//mets:mdWrap"):
        kind = wrapper.get("MDTYPE")
        allowed = _WRAPPED.get(kind, set())
        inside = {etree.QName(node).namespace for node in record.find("mets:xmlData/*", wrapper)}
        if not inside or inside - allowed:
            yield finding(
                "namespace",
                f"{record.name}, line {wrapper.sourceline}",
                f"A record of type {kind!r} holds elements of {sorted(map(str, inside))}.",
                f"elements of {sorted(allowed)}.",
            )
        if wrapper.get("MDTYPEVERSION") != _VERSIONS.get(kind):
            yield finding(
                "version",
                f"{record.name}, line {wrapper.sourceline}",
                f"A record of type {kind!r} states version {wrapper.get('MDTYPEVERSION')!r}.",
                f"version {_VERSIONS.get(kind)!r}.",
            )


def references(record: ParsedRecord) -> Iterator[Finding]:
    counted = Counter(node.get("ID") for node in record.root.iter() if node.get("ID"))
    for twice in sorted(name for name, count in counted.items() if count > 1):
        yield finding("id", record.name, f"The ID {twice!r} stands twice.", "each ID once.")
    places = {
        "ADMID": ("techMD", "rightsMD", "digiprovMD", "sourceMD"),
        "DMDID": ("dmdSec",),
        "FILEID": ("file",),
    }
    for attribute, targets in places.items():
        for node in record.find(f"//*[@{attribute}]"):
            for reference in node.get(attribute).split():
                target = record.ids.get(reference)
                if target is None or etree.QName(target).localname not in targets:
                    yield finding(
                        "reference",
                        f"{record.name}, line {node.sourceline}",
                        f"{attribute} names {reference!r}, which is no {' or '.join(targets)}.",
                        "references to what the record holds.",
                    )


def identifiers(record: ParsedRecord) -> Iterator[Finding]:
    """Objects, events, agents and rights that PREMIS links name must be in the record, once."""
    identifiers_of: dict[str, list[str]] = {}
    for kind in ("object", "event", "agent", "rightsStatement"):
        values = record.texts(
            f"//premis:{kind}/premis:{kind}Identifier/premis:{kind}IdentifierValue"
        )
        identifiers_of[kind] = values
        for value, count in Counter(values).items():
            if count > 1:
                yield finding(
                    "identifier", record.name, f"The {kind} {value!r} stands twice.", "each once."
                )
    for kind, expression in (
        ("object", "//premis:linkingObjectIdentifierValue"),
        ("object", "//premis:relatedObjectIdentifierValue"),
        ("event", "//premis:linkingEventIdentifierValue"),
        ("agent", "//premis:linkingAgentIdentifierValue"),
        ("rightsStatement", "//premis:linkingRightsStatementIdentifierValue"),
    ):
        for value in sorted(set(record.texts(expression)) - set(identifiers_of[kind])):
            yield finding(
                "identifier",
                record.name,
                f"A link names the {kind} {value!r}, which the record does not hold.",
                "links to objects, events, agents and rights of the record.",
            )
    paths = {*record.files, *record.beside()}
    expected = {record.item, *(f"{record.item}/{path}" for path in paths)}
    for value in sorted(expected ^ set(identifiers_of["object"])):
        yield finding(
            "object",
            record.name,
            f"{value!r} is either a file without a PREMIS object or an object without a file.",
            "one PREMIS object for the item and for each file.",
        )


_DATE_TIME = re.compile(
    r"\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])T([01]\d|2[0-3]):[0-5]\d:([0-5]\d|60)(\.\d+)?"
    r"(Z|[+-](0\d|1[0-4]):[0-5]\d)?"
)


def times(record: ParsedRecord) -> Iterator[Finding]:
    for expression in (
        "//premis:eventDateTime",
        "//mix:dateTimeCreated",
        "//mix:dateTimeProcessed",
    ):
        for text in record.texts(expression):
            if not _DATE_TIME.fullmatch(text):
                yield finding(
                    "date_time",
                    record.name,
                    f"{expression[2:]} holds {text!r}.",
                    "a date and time of ISO 8601 such as 2026-03-17T02:14:09Z.",
                )
    for expression in ("//mods:dateCreated[@encoding='edtf']", "//dcterms:created"):
        for text in record.texts(expression):
            if not dates.is_valid(text):
                yield finding("date", record.name, f"{text!r} is no EDTF date.", "valid EDTF.")
    edtf = set(record.texts("//mods:dateCreated[@encoding='edtf']"))
    if edtf != set(record.texts("//dcterms:created")):
        yield finding(
            "date", record.name, "MODS and Dublin Core give different dates.", "the same EDTF date."
        )


def images(record: ParsedRecord) -> Iterator[Finding]:
    """Every image file needs MIX of its own, and nothing else has one."""
    used = set()
    for path, file in record.files.items():
        mix = record.wrapped(file, "NISOIMG")
        if mix is not None:
            used.add(mix)
        if (file.get("MIMETYPE") in _IMAGES) != (mix is not None):
            yield finding(
                "mix", path, "An image file has no MIX, or another file has.", "MIX for images."
            )
    used |= set(_mix_beside(record).values())
    for mix in record.find("//mix:mix"):
        if mix not in used:
            yield finding("mix", record.name, "MIX that no file refers to.", "MIX with a file.")


def _mix_beside(record: ParsedRecord) -> dict[str, Any]:
    """Return {path: mix:mix} of files that are recorded and not in the package, as the part of
    their master refers to it."""
    start = f"{record.item}/"
    found = {}
    for division in record.find("//mets:div[@TYPE='master'][@ADMID]"):
        for reference in division.get("ADMID").split():
            mix = record.sections.get(("NISOIMG", reference))
            if mix is not None:
                name = "mix:BasicDigitalObjectInformation/mix:ObjectIdentifier"
                for value in record.texts(f"{name}/mix:objectIdentifierValue", mix):
                    found[value.removeprefix(start)] = mix
    return found


def beside(record: ParsedRecord) -> Iterator[Finding]:
    """A file that is recorded and not in the package has MIX, and hangs together with one that is:
    a raw file with the picture made from it, a picture with its raw file."""
    mixes = _mix_beside(record)
    related = _related(record)
    there = {f"{record.item}/{path}" for path in record.files}
    for path, premis in record.beside().items():
        if path in record.files:
            yield finding("beside", path, "It is a file, and said not to be there.", "one of both.")
        if not related.get(f"{record.item}/{path}", set()) & there:
            yield finding(
                "beside",
                path,
                "It is not in the package, nor is what it was made from or what was made from it.",
                "a raw file, or the picture developed from it.",
            )
        if path not in mixes:
            yield finding("mix", path, "No part of a master has its MIX.", "MIX for images.")
            continue
        of_premis = digests(record, premis, "premis:objectCharacteristics/premis:fixity", "premis")
        basic = "mix:BasicDigitalObjectInformation"
        of_mix = digests(record, mixes[path], f"{basic}/mix:Fixity", "mix")
        if of_premis != of_mix:
            yield finding(
                "agreement", path, "PREMIS and MIX give different digests of it.", "the same."
            )


def _related(record: ParsedRecord) -> dict[str, set[str]]:
    """Return {object: its sources, and what it is the source of}."""
    found: dict[str, set[str]] = {}
    relation = "premis:relationship[premis:relationshipSubType='has source']"
    for node in record.find("//premis:object"):
        names = record.texts("premis:objectIdentifier/premis:objectIdentifierValue", node)
        path = f"{relation}/premis:relatedObjectIdentifier/premis:relatedObjectIdentifierValue"
        for source in record.texts(path, node):
            for name in names:
                found.setdefault(name, set()).add(source)
                found.setdefault(source, set()).add(name)
    return found


def agreement(record: ParsedRecord) -> Iterator[Finding]:
    """What METS, PREMIS and MIX say of a file must be the same."""
    for path, file in record.files.items():
        premis = record.wrapped(file, "PREMIS:OBJECT")
        if premis is None:
            yield finding("object", path, "It has no PREMIS object.", "one PREMIS object.")
            continue
        values_of = _values_of(record, file, premis, record.wrapped(file, "NISOIMG"), path)
        for what, values in values_of.items():
            if len(set(values)) > 1:
                yield finding(
                    "agreement",
                    path,
                    f"METS, PREMIS and MIX give different values for its {what}: {values}.",
                    "one value.",
                )


def _values_of(
    record: ParsedRecord, file: Any, premis: Any, mix: Any | None, path: str
) -> dict[str, list[str]]:
    of_premis = digests(record, premis, "premis:objectCharacteristics/premis:fixity", "premis")
    values = {
        "identifier": [
            f"{record.item}/{path}",
            *record.texts("premis:objectIdentifier/premis:objectIdentifierValue", premis),
        ],
        "size": [
            file.get("SIZE") or "",
            *record.texts("premis:objectCharacteristics/premis:size", premis),
        ],
        "SHA-256": [file.get("CHECKSUM") or "", of_premis.get("SHA-256", "")],
    }
    if mix is not None:
        basic = "mix:BasicDigitalObjectInformation"
        of_mix = digests(record, mix, f"{basic}/mix:Fixity", "mix")
        values["identifier"] += record.texts(
            f"{basic}/mix:ObjectIdentifier/mix:objectIdentifierValue", mix
        )
        values["size"] += record.texts(f"{basic}/mix:fileSize", mix)
        values["SHA-256"].append(of_mix.get("SHA-256", ""))
        values["SHA-512"] = [of_premis.get("SHA-512", ""), of_mix.get("SHA-512", "")]
        values["format"] = [
            *record.texts(".//premis:formatRegistryKey", premis),
            *record.texts(f"{basic}/mix:FormatRegistry/mix:formatRegistryKey", mix),
        ]
    return values


def digests(record: ParsedRecord, node: Any, path: str, prefix: str) -> dict[str, str]:
    return {
        algorithm: digest
        for fixity in record.find(path, node)
        for algorithm in record.texts(f"{prefix}:messageDigestAlgorithm", fixity)
        for digest in record.texts(f"{prefix}:messageDigest", fixity)
    }


def structure(record: ParsedRecord) -> Iterator[Finding]:
    """Every file stands somewhere in the physical structure, every master in a div of its own."""
    file_ids = {
        node.get("FILEID") for node in record.find("//mets:structMap[@TYPE='PHYSICAL']//*[@FILEID]")
    }
    for path, file in record.files.items():
        if file.get("ID") not in file_ids:
            yield finding("structure", path, "No part of the structure names it.", "a place.")
    paths = {*record.files, *record.beside()}
    masters = {path for path in paths if path.startswith("masters/")}
    divisions = record.find("//mets:div[@TYPE='master']")
    if len(divisions) != len(masters) or not masters:
        yield finding(
            "structure",
            record.name,
            f"There are {len(masters)} masters and {len(divisions)} parts of type master.",
            "one part for each master.",
        )


def links(record: ParsedRecord) -> Iterator[Finding]:
    """References to files are relative and stay inside the package."""
    if len(record.files) != len(record.find("//mets:file")):
        yield finding("link", record.name, "A file has no address, or two files share one.", "one.")
    for path in record.files:
        parts = path.split("/")
        if not path or ":" in parts[0] or path.startswith("/") or ".." in parts:
            yield finding("link", path, "It leads out of the package.", "a relative path inside.")
