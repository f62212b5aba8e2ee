"""The project's own check of a record: by profile.rng, by rules in code, and against the files.

METS lets any XML stand inside a wrapper, MIX has no obligatory element, and the common XSD
engine does not follow IDREFs; so a record that the official schemas accept may still be wrong.
"""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from lxml import etree

from glassine.base import edtf as dates
from glassine.base import files, markup
from glassine.base.errors import Finding
from glassine.record.facts import PROVENANCE

PROFILE_PATH = Path(__file__).with_name("profile.rng")
# The record of an item of 1,000 frames has 20 MB.
MAX_BYTES = 64 * 2**20
MAX_TOLD = 10
_NS = {prefix: uri for prefix, uri in markup.NAMESPACES.items() if prefix != "xsi"}
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
_IMAGES = ("image/tiff", "image/jpeg", "image/webp", "image/avif")
# Folders of a package whose files the record must list, and the folder whose files it does not:
# tiles are many, they stand in the record by one digest over all.
_LISTED = ("access", "thumbs", "alternates", "masters", "metadata")

Rule = Callable[["Record"], Iterator[Finding]]


def check_record(
    path: Path,
    item_dir: Path,
    *,
    standing_in: dict[str, Path] | None = None,
    hashed: dict[str, tuple[int, dict[str, str]]] | None = None,
    tiles: bool = True,
) -> list[Finding]:
    """Return what is wrong with the record of an item, nothing where it is sound.

    path: METS.xml. item_dir: the item's folder, or the root of its package: files are looked for
    there, and masters (which the item's folder does not hold) in its fixity.json. standing_in:
    files that do not have their names yet. hashed: size and digests by algorithm ("sha256",
    "sha512") of files of the package that the caller has just read, by path; they are not read
    again. tiles: whether to read every tile again. Never raises for a bad record.
    """
    try:
        root = _parse(path)
    except (OSError, ValueError, etree.XMLSyntaxError) as problem:
        return [_finding("xml", path.name, f"It cannot be read: {problem}.", "well-formed XML.")]
    record = Record(root, path, item_dir, standing_in or {}, hashed or {}, tiles)
    found = [*_profile(record)]
    for rule in RULES:
        found.extend(rule(record))
    return _bounded(found)


def _bounded(found: list[Finding]) -> list[Finding]:
    """Return at most MAX_TOLD findings of each kind: one cause may touch every file."""
    counted: Counter[str] = Counter()
    kept = []
    for finding in found:
        counted[finding.code] += 1
        if counted[finding.code] <= MAX_TOLD:
            kept.append(finding)
    return kept


def _parse(path: Path) -> Any:
    if path.stat().st_size > MAX_BYTES:
        raise ValueError(f"it is larger than {MAX_BYTES} bytes")
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, remove_comments=True
    )
    tree = etree.parse(str(path), parser)
    information: Any = tree.docinfo
    if information.doctype:
        raise ValueError("it has a document type declaration, which no record needs")
    return tree.getroot()


def _finding(what: str, where: str, told: str, expected: str) -> Finding:
    return Finding(
        f"record.{what}",
        where,
        told,
        expected,
        "Delete METS.xml of the item and run again; if that does not help, report it.",
    )


class Record:
    """A parsed record with what its rules look up often."""

    def __init__(
        self,
        root: Any,
        path: Path,
        item_dir: Path,
        standing_in: dict[str, Path],
        hashed: dict[str, tuple[int, dict[str, str]]],
        tiles: bool,
    ) -> None:
        self.root = root
        self.name = path.name
        self.item_dir = item_dir
        self.standing_in = standing_in
        self.hashed = hashed
        self.tiles = tiles
        self.item: str = root.get("OBJID") or ""
        self.ids = {node.get("ID"): node for node in root.iter() if node.get("ID")}
        self.sections = {
            (node.getparent().getparent().get("MDTYPE"), section.get("ID")): node
            for section in self.find("//mets:amdSec/*")
            for node in self.find("mets:mdWrap/mets:xmlData/*[1]", section)
        }
        self.files = {
            unquote(locat.get(f"{{{markup.XLINK}}}href") or ""): locat.getparent()
            for locat in self.find("//mets:file/mets:FLocat")
        }

    def find(self, expression: str, node: Any = None) -> list[Any]:
        found: list[Any] = (self.root if node is None else node).xpath(expression, namespaces=_NS)
        return found

    def texts(self, expression: str, node: Any = None) -> list[str]:
        return [str(text) for text in self.find(f"{expression}/text()", node)]

    def wrapped(self, file: Any, kind: str) -> Any | None:
        """Return the record of a kind that a file's ADMID points to."""
        references = (file.get("ADMID") or "").split()
        return next(
            (self.sections[kind, each] for each in references if (kind, each) in self.sections),
            None,
        )

    def real(self, path: str) -> Path | None:
        """Return where a file of the package lies now, None where it does not."""
        candidates = [self.standing_in.get(path)]
        for relative in (path, PROVENANCE.get(path)):
            try:
                candidates.append(files.inside(self.item_dir, relative) if relative else None)
            except ValueError:
                return None
        return next((each for each in candidates if each is not None and each.is_file()), None)


# --- rules -------------------------------------------------------------------------------


@cache
def _relax_ng() -> Any:
    return etree.RelaxNG(etree.parse(str(PROFILE_PATH)))


def _profile(record: Record) -> Iterator[Finding]:
    schema = _relax_ng()
    if schema.validate(record.root):
        return
    errors = list(schema.error_log)[:5]
    for error in errors:
        yield _finding(
            "profile",
            f"{record.name}, line {error.line}",
            f"It breaks the project's profile: {error.message}.",
            "what scripts/glassine/records/profile.rng describes.",
        )


def _namespaces(record: Record) -> Iterator[Finding]:
    strange = {
        etree.QName(node).namespace or "(none)"
        for node in record.root.iter(etree.Element)
        if etree.QName(node).namespace not in _KNOWN
    }
    for namespace in sorted(strange):
        yield _finding(
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
            yield _finding(
                "namespace",
                f"{record.name}, line {wrapper.sourceline}",
                f"A record of type {kind!r} holds elements of {sorted(map(str, inside))}.",
                f"elements of {sorted(allowed)}.",
            )
        if wrapper.get("MDTYPEVERSION") != _VERSIONS.get(kind):
            yield _finding(
                "version",
                f"{record.name}, line {wrapper.sourceline}",
                f"A record of type {kind!r} states version {wrapper.get('MDTYPEVERSION')!r}.",
                f"version {_VERSIONS.get(kind)!r}.",
            )


def _references(record: Record) -> Iterator[Finding]:
    counted = Counter(node.get("ID") for node in record.root.iter() if node.get("ID"))
    for twice in sorted(name for name, count in counted.items() if count > 1):
        yield _finding("id", record.name, f"The ID {twice!r} stands twice.", "each ID once.")
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
                    yield _finding(
                        "reference",
                        f"{record.name}, line {node.sourceline}",
                        f"{attribute} names {reference!r}, which is no {' or '.join(targets)}.",
                        "references to what the record holds.",
                    )


def _identifiers(record: Record) -> Iterator[Finding]:
    """Objects, events, agents and rights that PREMIS links name must be in the record, once."""
    known: dict[str, list[str]] = {}
    for kind in ("object", "event", "agent", "rightsStatement"):
        values = record.texts(
            f"//premis:{kind}/premis:{kind}Identifier/premis:{kind}IdentifierValue"
        )
        known[kind] = values
        for value, count in Counter(values).items():
            if count > 1:
                yield _finding(
                    "identifier", record.name, f"The {kind} {value!r} stands twice.", "each once."
                )
    for kind, expression in (
        ("object", "//premis:linkingObjectIdentifierValue"),
        ("object", "//premis:relatedObjectIdentifierValue"),
        ("event", "//premis:linkingEventIdentifierValue"),
        ("agent", "//premis:linkingAgentIdentifierValue"),
        ("rightsStatement", "//premis:linkingRightsStatementIdentifierValue"),
    ):
        for value in sorted(set(record.texts(expression)) - set(known[kind])):
            yield _finding(
                "identifier",
                record.name,
                f"A link names the {kind} {value!r}, which the record does not hold.",
                "links to objects, events, agents and rights of the record.",
            )
    wanted = {record.item, *(f"{record.item}/{path}" for path in record.files)}
    for value in sorted(wanted ^ set(known["object"])):
        yield _finding(
            "object",
            record.name,
            f"{value!r} is either a file without a PREMIS object or an object without a file.",
            "one PREMIS object for the item and for each file.",
        )


def _item_name(record: Record) -> Iterator[Finding]:
    stated = record.texts("//mods:mods/mods:identifier[@type='local'][1]")
    if not record.item or record.item not in stated:
        yield _finding(
            "item",
            record.name,
            f"OBJID is {record.item!r}, MODS names {stated}.",
            "the same item number in METS and MODS.",
        )
    noted = record.item_dir / "fixity.json"
    if not record.standing_in and not noted.is_file():
        noted = record.item_dir / "metadata" / "fixity.json"
    if noted.is_file():
        item = files.read_json(noted).get("item")
        if item != record.item:
            yield _finding(
                "item", record.name, f"OBJID is {record.item!r}.", f"{item!r}, as fixity.json says."
            )


_DATE_TIME = re.compile(
    r"\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])T([01]\d|2[0-3]):[0-5]\d:([0-5]\d|60)(\.\d+)?"
    r"(Z|[+-](0\d|1[0-4]):[0-5]\d)?"
)


def _times(record: Record) -> Iterator[Finding]:
    for expression in (
        "//premis:eventDateTime",
        "//mix:dateTimeCreated",
        "//mix:dateTimeProcessed",
    ):
        for text in record.texts(expression):
            if not _DATE_TIME.fullmatch(text):
                yield _finding(
                    "date_time",
                    record.name,
                    f"{expression[2:]} holds {text!r}.",
                    "a date and time of ISO 8601 such as 2026-03-17T02:14:09Z.",
                )
    for expression in ("//mods:dateCreated[@encoding='edtf']", "//dcterms:created"):
        for text in record.texts(expression):
            if not dates.is_valid(text):
                yield _finding("date", record.name, f"{text!r} is no EDTF date.", "valid EDTF.")
    edtf = set(record.texts("//mods:dateCreated[@encoding='edtf']"))
    if edtf != set(record.texts("//dcterms:created")):
        yield _finding(
            "date", record.name, "MODS and Dublin Core give different dates.", "the same EDTF date."
        )


def _images(record: Record) -> Iterator[Finding]:
    """Every image file needs MIX of its own, and nothing else has one."""
    used = set()
    for path, file in record.files.items():
        mix = record.wrapped(file, "NISOIMG")
        if mix is not None:
            used.add(mix)
        if (file.get("MIMETYPE") in _IMAGES) != (mix is not None):
            yield _finding(
                "mix", path, "An image file has no MIX, or another file has.", "MIX for images."
            )
    for mix in record.find("//mix:mix"):
        if mix not in used:
            yield _finding("mix", record.name, "MIX that no file refers to.", "MIX with a file.")


def _agreement(record: Record) -> Iterator[Finding]:
    """What METS, PREMIS and MIX say of a file must be the same."""
    for path, file in record.files.items():
        premis = record.wrapped(file, "PREMIS:OBJECT")
        if premis is None:
            yield _finding("object", path, "It has no PREMIS object.", "one PREMIS object.")
            continue
        told = _told(record, file, premis, record.wrapped(file, "NISOIMG"), path)
        for what, values in told.items():
            if len(set(values)) > 1:
                yield _finding(
                    "agreement",
                    path,
                    f"METS, PREMIS and MIX give different values for its {what}: {values}.",
                    "one value.",
                )


def _told(
    record: Record, file: Any, premis: Any, mix: Any | None, path: str
) -> dict[str, list[str]]:
    digests = _digests(record, premis, "premis:objectCharacteristics/premis:fixity", "premis")
    told = {
        "identifier": [
            f"{record.item}/{path}",
            *record.texts("premis:objectIdentifier/premis:objectIdentifierValue", premis),
        ],
        "size": [
            file.get("SIZE") or "",
            *record.texts("premis:objectCharacteristics/premis:size", premis),
        ],
        "SHA-256": [file.get("CHECKSUM") or "", digests.get("SHA-256", "")],
    }
    if mix is not None:
        basic = "mix:BasicDigitalObjectInformation"
        of_mix = _digests(record, mix, f"{basic}/mix:Fixity", "mix")
        told["identifier"] += record.texts(
            f"{basic}/mix:ObjectIdentifier/mix:objectIdentifierValue", mix
        )
        told["size"] += record.texts(f"{basic}/mix:fileSize", mix)
        told["SHA-256"].append(of_mix.get("SHA-256", ""))
        told["SHA-512"] = [digests.get("SHA-512", ""), of_mix.get("SHA-512", "")]
        told["format"] = [
            *record.texts(".//premis:formatRegistryKey", premis),
            *record.texts(f"{basic}/mix:FormatRegistry/mix:formatRegistryKey", mix),
        ]
    return told


def _digests(record: Record, node: Any, path: str, prefix: str) -> dict[str, str]:
    return {
        algorithm: digest
        for fixity in record.find(path, node)
        for algorithm in record.texts(f"{prefix}:messageDigestAlgorithm", fixity)
        for digest in record.texts(f"{prefix}:messageDigest", fixity)
    }


def _on_disk(record: Record) -> Iterator[Finding]:
    """Files must be there, with the size and digests that the record gives them."""
    masters = _noted_masters(record)
    for path, file in record.files.items():
        premis = record.wrapped(file, "PREMIS:OBJECT")
        told = [("SHA-256", file.get("CHECKSUM") or "")]
        if premis is not None:
            fixity = "premis:objectCharacteristics/premis:fixity"
            told += _digests(record, premis, fixity, "premis").items()
        real = record.real(path)
        if path in record.hashed:
            size, digests = record.hashed[path]
            found = {name: digests[short] for name, short in _HASHES.items() if short in digests}
        elif real is not None:
            found, size = _hashed(real, tuple({algorithm for algorithm, _ in told}))
        elif path in masters:
            noted = masters[path]
            found = {
                "SHA-256": noted["digests"]["sha256"],
                "SHA-512": noted["digests"]["sha512"],
            }
            size = noted["bytes"]
        else:
            yield _finding(
                "missing", path, "The record lists it, but it is not there.", "the file."
            )
            continue
        if str(size) != file.get("SIZE"):
            yield _finding(
                "size", path, f"It has {size} bytes.", f"{file.get('SIZE')} bytes, as recorded."
            )
        for algorithm, digest in sorted(set(told)):
            if algorithm in found and found[algorithm] != digest:
                yield _finding(
                    "digest",
                    path,
                    f"Its {algorithm} is {found[algorithm]}.",
                    f"{digest}, as the record says.",
                )


_HASHES = {"SHA-256": "sha256", "SHA-512": "sha512"}


def _hashed(path: Path, algorithms: tuple[str, ...]) -> tuple[dict[str, str], int]:
    hashes = {name: hashlib.new(_HASHES[name]) for name in algorithms if name in _HASHES}
    size = 0
    with path.open("rb") as handle:
        while block := handle.read(2**20):
            size += len(block)
            for each in hashes.values():
                each.update(block)
    return {name: each.hexdigest() for name, each in hashes.items()}, size


def _noted_masters(record: Record) -> dict[str, Any]:
    noted = record.item_dir / "fixity.json"
    if not noted.is_file():
        return {}
    return {f"masters/{entry['path']}": entry for entry in files.read_json(noted)["masters"]}


def _unlisted(record: Record) -> Iterator[Finding]:
    there = {
        path.relative_to(record.item_dir).as_posix()
        for folder in _LISTED
        for path in sorted((record.item_dir / folder).rglob("*"))
        if path.is_file()
    }
    there |= {
        path.relative_to(record.item_dir).as_posix()
        for path in (record.item_dir / "iiif").glob("*/info.json")
    }
    there |= set(_noted_masters(record))
    for path in sorted(there - set(record.files)):
        yield _finding(
            "unlisted", path, "It is there, but the record does not list it.", "only listed files."
        )


def _tile_trees(record: Record) -> Iterator[Finding]:
    """The digest over all tiles of a picture, taken again from disk."""
    if not record.tiles:
        return
    for path, file in record.files.items():
        premis = record.wrapped(file, "PREMIS:OBJECT")
        folder = record.item_dir / Path(path).parent
        if not path.startswith("iiif/") or premis is None or not folder.is_dir():
            continue
        told = record.texts(
            "premis:significantProperties/premis:significantPropertiesValue", premis
        )
        found = {
            each.relative_to(folder).as_posix(): _hashed(each, ("SHA-256",))[0]["SHA-256"]
            for each in folder.rglob("*")
            if each.is_file()
        }
        lines = "".join(f"{name} {found[name]}\n" for name in sorted(found))
        digest = hashlib.sha256(lines.encode()).hexdigest()
        if told[:2] != [digest, str(len(found))]:
            yield _finding(
                "tiles",
                folder.name,
                f"Its {len(found)} tiles have the digest {digest}.",
                f"{told[:2]}, as the record says.",
            )


def _structure(record: Record) -> Iterator[Finding]:
    """Every file stands somewhere in the physical structure, every master in a div of its own."""
    shown = {
        node.get("FILEID") for node in record.find("//mets:structMap[@TYPE='PHYSICAL']//*[@FILEID]")
    }
    for path, file in record.files.items():
        if file.get("ID") not in shown:
            yield _finding("structure", path, "No part of the structure names it.", "a place.")
    masters = {path for path in record.files if path.startswith("masters/")}
    divisions = record.find("//mets:div[@TYPE='master']")
    if len(divisions) != len(masters) or not masters:
        yield _finding(
            "structure",
            record.name,
            f"There are {len(masters)} masters and {len(divisions)} parts of type master.",
            "one part for each master.",
        )


def _links(record: Record) -> Iterator[Finding]:
    """References to files are relative and stay inside the package."""
    if len(record.files) != len(record.find("//mets:file")):
        yield _finding(
            "link", record.name, "A file has no address, or two files share one.", "one."
        )
    for path in record.files:
        parts = path.split("/")
        if not path or ":" in parts[0] or path.startswith("/") or ".." in parts:
            yield _finding("link", path, "It leads out of the package.", "a relative path inside.")


RULES: tuple[Rule, ...] = (
    _namespaces,
    _references,
    _identifiers,
    _item_name,
    _times,
    _images,
    _agreement,
    _structure,
    _links,
    _on_disk,
    _unlisted,
    _tile_trees,
)


# --- official schemas --------------------------------------------------------------------

# What a record holds, with the official name and the version that counts.
_OFFICIAL = {
    markup.METS: re.compile(r"mets(-1-12-1)?\.xsd"),
    markup.MODS: re.compile(r"mods(-3-8)?\.xsd"),
    markup.PREMIS: re.compile(r"premis(-v?3-?0?)?\.xsd"),
    markup.MIX: re.compile(r"mix(20)?\.xsd"),
    markup.DCTERMS: re.compile(r"dcterms\.xsd"),
    markup.DC: re.compile(r"dc\.xsd"),
    "http://purl.org/dc/dcmitype/": re.compile(r"dcmitype\.xsd"),
    markup.XLINK: re.compile(r"xlink\.xsd"),
    "http://www.w3.org/XML/1998/namespace": re.compile(r"xml\.xsd"),
}
_TARGET = re.compile(rb"""targetNamespace\s*=\s*["']([^"']+)["']""")


def schema_files(schema_dir: Path) -> dict[str, Path]:
    """Return {namespace: XSD file} of what the folder (and its folders) holds."""
    found: dict[str, Path] = {}
    for path in sorted(schema_dir.rglob("*.xsd")):
        with path.open("rb") as handle:
            target = _TARGET.search(handle.read(20_000))
        namespace = target[1].decode("utf-8", "replace") if target else ""
        pattern = _OFFICIAL.get(namespace)
        if pattern and pattern.fullmatch(path.name.lower()):
            found.setdefault(namespace, path)
    return found


class _Offline(etree.Resolver):  # lxml-stubs know neither its method's form nor its helpers
    """Gives the local copy for an address on the network, and nothing for any other."""

    def __init__(self, copies: dict[str, Path]) -> None:
        self.by_name = {
            pattern: copies[space] for space, pattern in _OFFICIAL.items() if space in copies
        }

    def resolve(self, url: str, public_id: str, context: Any) -> Any:  # type: ignore[override]
        if not re.match(r"(https?|ftp):", url or ""):
            return None
        name = url.rsplit("/", 1)[-1].lower()
        for pattern, path in self.by_name.items():
            if pattern.fullmatch(name):
                return self.resolve_filename(str(path), context)  # type: ignore[attr-defined]
        raise OSError(f"no local copy of {url}")


@cache
def _official(schema_dir: Path) -> Any:
    copies = schema_files(schema_dir)
    missing = sorted(set(_OFFICIAL) - set(copies))
    if missing:
        raise OSError(f"no schema for {', '.join(missing)}")
    schema = "http://www.w3.org/2001/XMLSchema"
    root = etree.Element(f"{{{schema}}}schema", nsmap={"xs": schema})
    for namespace in sorted(_OFFICIAL):
        etree.SubElement(
            root,
            f"{{{schema}}}import",
            namespace=namespace,
            schemaLocation=copies[namespace].resolve().as_uri(),
        )
    parser = etree.XMLParser(no_network=True, load_dtd=False, resolve_entities=False)
    parser.resolvers.add(_Offline(copies))
    return etree.XMLSchema(etree.fromstring(etree.tostring(root), parser))


def check_schemas(path: Path, schema_dir: Path) -> list[Finding]:
    """Return what the official schemas find in a record. No network is used, ever.

    schema_dir: folder with the XSDs of METS 1.12, MODS 3.8, PREMIS 3.0, MIX 2.0, Dublin Core,
    XLink and xml.xsd, under their usual names.
    """
    try:
        schema = _official(schema_dir)
        root = _parse(path)
    except (OSError, ValueError, etree.LxmlError) as problem:
        return [
            Finding(
                "record.schemas",
                str(schema_dir),
                f"The official schemas cannot be used: {problem}.",
                "mets.xsd, mods-3-8.xsd, premis.xsd, mix20.xsd, dcterms.xsd, dc.xsd, "
                "dcmitype.xsd, xlink.xsd and xml.xsd in the folder.",
                "Correct `records.schema_dir`.",
            )
        ]
    if schema.validate(root):
        return []
    return [
        _finding(
            "schema",
            f"{path.name}, line {error.line}",
            f"The official schema refuses it: {error.message.rstrip('.')}.",
            "a record that the official schemas accept.",
        )
        for error in list(schema.error_log)[:MAX_TOLD]
    ]
