"""A record as it stands in METS.xml, parsed, with what rules look up often."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import unquote

from lxml import etree

from glassine.base import files, markup
from glassine.base.errors import Finding
from glassine.record.item_records import PROVENANCE

# The record of an item of 1,000 frames has 20 MB.
MAX_BYTES = 64 * 2**20
_NS = {prefix: uri for prefix, uri in markup.NAMESPACES.items() if prefix != "xsi"}
# The type of the item's number in the header of a record that is named by another identifier.
ITEM = "LOCAL"
# The kind of place of a file that the record tells of and the package leaves out.
KEPT_BACK = "kept back, not in this package"
# A file's size in bytes and its digests by algorithm ("sha256", "sha512").
Hashed = tuple[int, dict[str, str]]


def parse(path: Path) -> Any:
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


def finding(what: str, where: str, words: str, expected: str) -> Finding:
    return Finding(
        f"record.{what}",
        where,
        words,
        expected,
        "Delete METS.xml of the item and run again; if that does not help, report it.",
    )


class ParsedRecord:
    """A parsed record with what its rules look up often."""

    def __init__(
        self,
        root: Any,
        path: Path,
        item_dir: Path,
        standing_in: dict[str, Path],
        hashed: dict[str, Hashed],
        tiles: bool,
    ) -> None:
        self.root = root
        self.name = path.name
        self.item_dir = item_dir
        self.standing_in = standing_in
        self.hashed = hashed
        self.tiles = tiles
        self.objid: str = root.get("OBJID") or ""
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

    def beside(self) -> dict[str, Any]:
        """Return {path: premis:object} of files that are recorded and not in the package."""
        start = f"{self.item}/"
        found = {}
        for node in self.find("//premis:object[premis:preservationLevel]"):
            for name in self.texts("premis:objectIdentifier/premis:objectIdentifierValue", node):
                found[name.removeprefix(start)] = node
        return found

    @property
    def item(self) -> str:
        """Return the item's number: what the record is named by, where its header has no other."""
        header = f"//mets:metsHdr/mets:altRecordID[@TYPE='{ITEM}']"
        return next(iter(self.texts(header)), self.objid)

    def is_kept_back(self, path: str) -> bool:
        """Return whether the record says that the package leaves a file out."""
        places = self.find("mets:FLocat/@OTHERLOCTYPE", self.files[path])
        return KEPT_BACK in places

    def find(self, expression: str, node: Any = None, **values: str) -> list[Any]:
        """Return what an XPath finds. values: those of its variables, from outside as they are."""
        start = self.root if node is None else node
        nodes: list[Any] = start.xpath(expression, namespaces=_NS, **values)
        return nodes

    def texts(self, expression: str, node: Any = None) -> list[str]:
        return [str(text) for text in self.find(f"{expression}/text()", node)]

    def wrapped(self, file: Any, kind: str) -> Any | None:
        """Return the record of a kind that a file's ADMID points to."""
        references = (file.get("ADMID") or "").split()
        return next(
            (self.sections[kind, name] for name in references if (kind, name) in self.sections),
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
        return next((real for real in candidates if real is not None and real.is_file()), None)
