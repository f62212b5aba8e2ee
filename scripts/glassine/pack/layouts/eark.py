"""The layout of an E-ARK submission package (SIP 2.2.0, on CSIP 2.2.0).

The plain record is taken apart into the files that E-ARK refers to: MODS and Dublin Core,
PREMIS, MIX an image. Masters and access images are two representations, each with a METS of its
own, to which the METS of the package points. Codes in comments are those of the requirements.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar
from urllib.parse import quote, unquote

from lxml import etree

from glassine.base.errors import GlassineError
from glassine.base.markup import clean, xml_id
from glassine.base.records.package import PackagedFile
from glassine.pack.layouts import Context, Layout, tree_paths, written

METS = "http://www.loc.gov/METS/"
XLINK = "http://www.w3.org/1999/xlink"
XSI = "http://www.w3.org/2001/XMLSchema-instance"
PREMIS = "http://www.loc.gov/premis/v3"
CSIP = "https://DILCIS.eu/XML/METS/CSIPExtensionMETS"
SIP = "https://DILCIS.eu/XML/METS/SIPExtensionMETS"
_NS = {"mets": METS, "xlink": XLINK, "xsi": XSI, "csip": CSIP, "sip": SIP}
PROFILE = "https://earksip.dilcis.eu/profile/E-ARK-SIP-v2-2-0.xml"  # SIP2
CONTENT = "Photographs – Digital"  # CSIP2, from the vocabulary of content categories
CONTENT_INFORMATION = "digitized photographs"
RECORD = "metadata/other/item-record.xml"
_MIME = {
    ".avif": "image/avif",
    ".jp2": "image/jp2",
    ".jpg": "image/jpeg",
    ".json": "application/json",
    ".rng": "application/xml",
    ".tif": "image/tiff",
    ".tiff": "image/tiff",
    ".txt": "text/plain",
    ".webp": "image/webp",
    ".xml": "application/xml",
    ".xsd": "application/xml",
}
_ALTERNATES = (
    "                         data/alternates: the pictures in further formats: WebP, AVIF, TIFF\n"
)
_ACCESS = "representations/access   access images, thumbnails, image tiles and their manifest\n"
_NO_MASTERS = "                         no masters: whoever delivers keeps them back\n"
_NO_ACCESS = "                         no access images: access to the item is restricted\n"
_CAPTURED = "representations/masters  the capture files as the camera station left them\n"
_DEVELOPED = "representations/masters  capture files, or pictures developed from raw captures\n"
_RAWS = "representations/raw      the camera's raw files as the camera station left them\n"
_SCHEMAS = Path(__file__).resolve().parents[2]
_MAX_SCHEMA_BYTES = 4 * 2**20
Element = Any


@dataclass(frozen=True)
class Section:
    """A metadata section that refers to a file. kind: dmdSec, techMD, rightsMD or digiprovMD."""

    kind: str
    id: str
    mdtype: str
    placed: PackagedFile
    version: str = ""
    other: str = ""


@dataclass(frozen=True)
class Group:
    """A file group. use: as CSIP64 has it; files with the ids of sections on each."""

    use: str
    id: str
    files: list[tuple[PackagedFile, list[str]]]


@dataclass
class Document:
    """One METS document on the way. root: the folder it stands in, with a slash, or ""."""

    objid: str
    label: str
    root: str
    sections: list[Section] = field(default_factory=list)
    groups: list[Group] = field(default_factory=list)
    representations: list[tuple[PackagedFile, Group]] = field(default_factory=list)


class EarkSip(Layout):
    """METS.xml, metadata/, documentation/, schemas/, representations/masters and access."""

    name: ClassVar[str] = "eark"

    def lay_out(self, plain: list[PackagedFile], context: Context) -> list[PackagedFile]:
        record = _Record(context.item_dir / "METS.xml")
        moved = [entry.at(_place(entry.path)) for entry in plain if entry.path != "METS.xml"]
        package = Document(context.item, record.label, "")
        placed = list(moved)
        placed += _own_metadata(package, record, moved, context)
        placed += _documentation(package, moved, context)
        placed += _schemas(package, context)
        for name in ("masters", "raw", "access"):
            if not any(entry.path.startswith(f"representations/{name}/") for entry in moved):
                continue  # no raw files, or masters or pictures are kept back
            placed += _representation(package, name, record, moved, context)
        placed.append(_write(package, record, context))
        return placed

    def plain_paths(self, root: Path) -> dict[str, str] | None:
        if not (root / RECORD).is_file():
            return None
        paths = {"METS.xml": RECORD}
        for path in tree_paths(root):
            plain = _plain(path)
            if plain:
                paths[plain] = path
        return paths


def _place(path: str) -> str:
    """Return where a file of the plain layout goes."""
    if path.startswith("masters/"):
        return f"representations/masters/data/{path.removeprefix('masters/')}"
    if path.startswith("raw/"):
        return f"representations/raw/data/{path.removeprefix('raw/')}"
    if path.startswith("metadata/"):
        return f"metadata/other/{path.removeprefix('metadata/')}"
    return f"representations/access/data/{path}"


def _plain(path: str) -> str | None:
    """Return the path in the plain layout, None for a file that only E-ARK has."""
    for ours, theirs in (
        ("representations/masters/data/", "masters/"),
        ("representations/raw/data/", "raw/"),
        ("representations/access/data/", ""),
        ("metadata/other/", "metadata/"),
    ):
        if path.startswith(ours) and path != RECORD:
            return theirs + path.removeprefix(ours)
    return None


class _Record:
    """The plain METS, with what of it is needed here."""

    def __init__(self, path: Path) -> None:
        parser = etree.XMLParser(resolve_entities=False, no_network=True, remove_blank_text=True)
        try:
            self.root: Element = etree.parse(str(path), parser).getroot()
        except (OSError, etree.XMLSyntaxError) as problem:
            raise GlassineError.because(
                "pack.record",
                path,
                f"The record cannot be read: {problem}.",
                "the METS that the step before wrote.",
                "Delete METS.xml of the item and run again.",
            ) from problem
        self.label: str = self.root.get("LABEL") or ""
        self.files: dict[str, Element] = {}
        for entry in self.root.iter(f"{{{METS}}}file"):
            for place in entry.iterchildren(f"{{{METS}}}FLocat"):
                self.files[_place(unquote(place.get(f"{{{XLINK}}}href") or ""))] = entry

    def wrapped(self, mdtype: str) -> list[list[Element]]:
        """Return the content of each wrapper of a kind, in the order of the document."""
        path = f"{{{METS}}}mdWrap"
        return [
            list(wrapper.find(f"{{{METS}}}xmlData"))
            for wrapper in self.root.iter(path)
            if wrapper.get("MDTYPE") == mdtype
        ]

    def image(self, path: str) -> Element | None:
        """Return the MIX of a file by its place in the package, or None."""
        entry = self.files.get(path)
        ids = set((entry.get("ADMID") or "").split()) if entry is not None else set()
        for section in self.root.iter(f"{{{METS}}}techMD"):
            if section.get("ID") in ids:
                for wrapper in section.iterchildren(f"{{{METS}}}mdWrap"):
                    if wrapper.get("MDTYPE") == "NISOIMG":
                        return wrapper.find(f"{{{METS}}}xmlData")[0]
        return None

    def created(self, path: str, otherwise: str) -> str:
        entry = self.files.get(path)
        stated = entry.get("CREATED") if entry is not None else None
        return str(stated or otherwise)

    def rewritten(self) -> bytes:
        """Return the record with its references as they are from metadata/other/."""
        root = copy.deepcopy(self.root)
        for place in root.iter(f"{{{METS}}}FLocat"):
            path = _place(unquote(place.get(f"{{{XLINK}}}href")))
            place.set(f"{{{XLINK}}}href", quote(f"../../{path}"))
        return _text(root)


def _text(root: Element) -> bytes:
    etree.indent(root, space=" ")
    text: bytes = etree.tostring(root, xml_declaration=True, encoding="UTF-8")
    return text + b"\n"


def _own_metadata(
    package: Document, record: _Record, moved: list[PackagedFile], context: Context
) -> list[PackagedFile]:
    """Write MODS, Dublin Core, PREMIS and rights; name the other records of the item."""
    placed = []

    def section(kind: str, name: str, mdtype: str, path: str, root: Element, version: str) -> None:
        entry = written(context, path, _text(root), "record")
        placed.append(entry)
        package.sections.append(Section(kind, name, mdtype, entry, version))

    for (mods,) in record.wrapped("MODS")[:1]:
        path = "metadata/descriptive/mods.xml"
        section("dmdSec", "dmd-mods", "MODS", path, copy.deepcopy(mods), "3.8")
    for terms in record.wrapped("DC")[:1]:
        holder = etree.Element("qualifieddc")
        holder.extend(copy.deepcopy(term) for term in terms)
        section("dmdSec", "dmd-dc", "DC", "metadata/descriptive/dc.xml", holder, "")
    record_entry = written(context, RECORD, record.rewritten(), "record")
    placed.append(record_entry)
    others = [entry for entry in moved if entry.path.startswith("metadata/other/")]
    for entry in [*others, record_entry]:
        name = xml_id("tech", Path(entry.path).stem)
        package.sections.append(Section("techMD", name, "OTHER", entry, other="glassine"))
    rights = [node for nodes in record.wrapped("PREMIS:RIGHTS") for node in nodes]
    if rights:
        path = "metadata/preservation/rights.xml"
        section("rightsMD", "rights", "PREMIS", path, _premis(record, rights), "3.0")
    events = [
        node
        for kind in ("PREMIS:OBJECT", "PREMIS:EVENT", "PREMIS:AGENT")
        for nodes in record.wrapped(kind)
        for node in nodes
    ]
    if events:
        path = "metadata/preservation/premis.xml"
        section("digiprovMD", "digiprov", "PREMIS", path, _premis(record, events), "3.0")
    return placed


def _premis(record: _Record, nodes: list[Element]) -> Element:
    """Return premis:premis of the nodes; one of rights begins with the item's own object."""
    root = etree.Element(f"{{{PREMIS}}}premis", {"version": "3.0"}, {"premis": PREMIS, "xsi": XSI})
    tags = {etree.QName(node).localname for node in nodes}
    first = [] if "object" in tags else [node for node, *_ in record.wrapped("PREMIS:OBJECT")[:1]]
    for node in [*first, *nodes]:
        holder = root
        if etree.QName(node).localname == "rightsStatement":
            holder = etree.SubElement(root, f"{{{PREMIS}}}rights")
        holder.append(copy.deepcopy(node))
    return root


def _documentation(
    package: Document, moved: list[PackagedFile], context: Context
) -> list[PackagedFile]:
    shown = any(entry.path.startswith("representations/access/") for entry in moved)
    captures = any(
        entry.path.startswith(("representations/masters/", "representations/raw/"))
        for entry in moved
    )
    alternates = any("/data/alternates/" in entry.path for entry in moved)
    text = (
        f"{context.item}\n\n"
        "One digitized photographic item.\n\n"
        f"{_captures(moved) if captures else _NO_MASTERS}"
        f"{_ACCESS if shown else _NO_ACCESS}"
        f"{_ALTERNATES if alternates else ''}"
        "metadata/descriptive     MODS and Dublin Core of the catalogue record\n"
        "metadata/preservation    PREMIS: files, events, agents, rights\n"
        "metadata/other           records of the steps: what repeats the access images from the\n"
        "                         masters, and the item's own METS with all of it in one file\n"
        "schemas                  schemas of the records\n"
    )
    entry = written(context, "documentation/README.txt", text.encode(), "documentation")
    package.groups.append(Group("Documentation", "group-documentation", [(entry, [])]))  # CSIP60
    return [entry]


def _captures(moved: list[PackagedFile]) -> str:
    raw, masters = (
        any(entry.path.startswith(f"representations/{name}/") for entry in moved)
        for name in ("raw", "masters")
    )
    developed = any(entry.path == "metadata/other/developed.json" for entry in moved)
    return f"{(_DEVELOPED if developed else _CAPTURED) * masters}{_RAWS * raw}"


def _schemas(package: Document, context: Context) -> list[PackagedFile]:
    """Bring the project's own schemas, and the official XSDs where the settings point to them."""
    paths = [_SCHEMAS / "record" / "profile.rng"]
    paths += [
        _SCHEMAS / "base" / "schemas" / f"{name}.schema.json"
        for name in ("embedded", "fixity", "quality", "render")
    ]
    if context.schema_dir is not None:
        paths += sorted(context.schema_dir.glob("*.xsd"))
    placed = [
        written(context, f"schemas/{path.name}", path.read_bytes(), "schema")
        for path in paths
        if path.stat().st_size <= _MAX_SCHEMA_BYTES
    ]
    files = [(entry, list[str]()) for entry in placed]
    package.groups.append(Group("Schemas", "group-schemas", files))  # CSIP113
    return placed


def _representation(
    package: Document, name: str, record: _Record, moved: list[PackagedFile], context: Context
) -> list[PackagedFile]:
    """Write a representation's METS and its MIX files; point to it from the package's METS."""
    root = f"representations/{name}/"
    document = Document(name, f"{record.label} ({name})", root)
    placed, files = [], []
    for entry in moved:
        if not entry.path.startswith(root):
            continue
        ids = []
        image = record.image(entry.path)
        if image is not None:
            inner = entry.path.removeprefix(f"{root}data/")
            path = f"{root}metadata/other/{inner}.mix.xml"
            mix = written(context, path, _text(copy.deepcopy(image)), "record")
            placed.append(mix)
            ids.append(xml_id("mix", inner))
            document.sections.append(Section("techMD", ids[0], "NISOIMG", mix, "2.0"))
        files.append((entry, ids))
    document.groups.append(Group(f"Representations/{name}/data", "group-data", files))
    mets = _write(document, record, context)
    group = Group(f"Representations/{name}", f"group-{name}", [(mets, [])])  # CSIP114
    package.groups.append(group)
    package.representations.append((mets, group))
    return [*placed, mets]


def _element(tag: str, **attributes: str) -> Element:
    return etree.Element(f"{{{METS}}}{tag}", _attributes(attributes), _NS)


def _add(parent: Element, tag: str, text: str | None = None, **attributes: str) -> Element:
    child = etree.SubElement(parent, f"{{{METS}}}{tag}", _attributes(attributes))
    child.text = clean(text) if text is not None else None
    return child


def _attributes(values: dict[str, str]) -> dict[str, str]:
    attributes = {}
    for name, value in values.items():
        prefix, _, local = name.rpartition("__")
        attributes[f"{{{_NS[prefix]}}}{local}" if prefix else local] = clean(value)
    return {name: value for name, value in attributes.items() if value}


def _write(document: Document, record: _Record, context: Context) -> PackagedFile:
    """Write one METS document into its folder."""
    root = _element(
        "mets",
        OBJID=document.objid,  # CSIP1
        LABEL=document.label,  # SIP1
        TYPE=CONTENT,
        csip__CONTENTINFORMATIONTYPE="OTHER",  # CSIP4, CSIP5
        csip__OTHERCONTENTINFORMATIONTYPE=CONTENT_INFORMATION,
        PROFILE=PROFILE,
    )
    _header(root, context)
    for section in document.sections:
        if section.kind == "dmdSec":
            holder = _add(root, "dmdSec", ID=section.id, CREATED=context.time, STATUS="CURRENT")
            _reference(holder, section, document, context)
    _administrative(root, document, context)
    _files(root, document, record, context)
    _structure(root, document)
    return written(context, f"{document.root}METS.xml", _text(root), "record")


def _header(root: Element, context: Context) -> None:
    header = _add(
        root,
        "metsHdr",
        CREATEDATE=context.time,  # CSIP7
        RECORDSTATUS="NEW",  # SIP3
        csip__OAISPACKAGETYPE="SIP",  # CSIP9, SIP4
    )
    name, _, version = context.software.partition(" ")
    software = _add(header, "agent", ROLE="CREATOR", TYPE="OTHER", OTHERTYPE="SOFTWARE")
    _add(software, "name", name)  # CSIP10 to CSIP16
    _add(software, "note", version, csip__NOTETYPE="SOFTWARE VERSION")
    sender = _add(header, "agent", ROLE="CREATOR", TYPE="ORGANIZATION")  # SIP15 to SIP20
    _add(sender, "name", context.institution.name or "unknown")
    if context.institution.id:
        _add(sender, "note", context.institution.id, csip__NOTETYPE="IDENTIFICATIONCODE")


def _href(path: str, document: Document) -> str:
    return quote(path.removeprefix(document.root), safe="/:@!$&'()*+,;=~")


def _reference(parent: Element, section: Section, document: Document, context: Context) -> None:
    _add(
        parent,
        "mdRef",
        LOCTYPE="URL",
        xlink__type="simple",
        xlink__href=_href(section.placed.path, document),
        MDTYPE=section.mdtype,
        OTHERMDTYPE=section.other,
        MDTYPEVERSION=section.version,
        MIMETYPE=_MIME[Path(section.placed.path).suffix],
        SIZE=str(section.placed.bytes),
        CREATED=context.time,
        CHECKSUM=section.placed.sha256,
        CHECKSUMTYPE="SHA-256",
    )


def _administrative(root: Element, document: Document, context: Context) -> None:
    sections = [section for section in document.sections if section.kind != "dmdSec"]
    if not sections:
        return
    holder = _add(root, "amdSec", ID="amd")
    for kind in ("techMD", "rightsMD", "digiprovMD"):  # the order that METS demands
        for section in sections:
            if section.kind == kind:
                inner = _add(holder, kind, ID=section.id, STATUS="CURRENT")
                _reference(inner, section, document, context)


def _files(root: Element, document: Document, record: _Record, context: Context) -> None:
    section = _add(root, "fileSec", ID="files")  # CSIP59
    for group in document.groups:
        content = {}
        if group.use.startswith("Representations"):  # CSIP62, CSIP63
            content = {
                "csip__CONTENTINFORMATIONTYPE": "OTHER",
                "csip__OTHERCONTENTINFORMATIONTYPE": CONTENT_INFORMATION,
            }
        holder = _add(section, "fileGrp", ID=group.id, USE=group.use, **content)
        for entry, ids in group.files:
            file = _add(
                holder,
                "file",
                ID=xml_id("file", entry.path),
                MIMETYPE=_MIME.get(Path(entry.path).suffix.lower(), "application/octet-stream"),
                SIZE=str(entry.bytes),
                CREATED=record.created(entry.path, context.time),
                CHECKSUM=entry.sha256,
                CHECKSUMTYPE="SHA-256",
                ADMID=" ".join(ids),
            )
            href = _href(entry.path, document)
            _add(file, "FLocat", LOCTYPE="URL", xlink__type="simple", xlink__href=href)


def _structure(root: Element, document: Document) -> None:
    structure = _add(root, "structMap", ID="structure", TYPE="PHYSICAL", LABEL="CSIP")
    main = _add(structure, "div", ID="div-package", LABEL=document.objid)
    described = [section.id for section in document.sections if section.kind == "dmdSec"]
    others = [section.id for section in document.sections if section.kind != "dmdSec"]
    _add(
        main,
        "div",
        ID="div-metadata",
        LABEL="Metadata",  # CSIP88 to CSIP92
        ADMID=" ".join(others),
        DMDID=" ".join(described),
    )
    pointed = {group.id for _, group in document.representations}
    for group in document.groups:
        if group.id not in pointed:
            label = group.use.split("/")[0]
            div = _add(main, "div", ID=f"div-{group.id}", LABEL=label)
            _add(div, "fptr", FILEID=group.id)
    for mets, group in document.representations:  # CSIP105 to CSIP112
        div = _add(main, "div", ID=f"div-{group.id}", LABEL=group.use)
        _add(
            div,
            "mptr",
            LOCTYPE="URL",
            xlink__type="simple",
            xlink__href=_href(mets.path, document),
            xlink__title=group.id,
        )
