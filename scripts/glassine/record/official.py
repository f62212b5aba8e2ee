"""The official schemas of METS, MODS, PREMIS, MIX and Dublin Core, where a folder holds them."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

from lxml import etree

from glassine.base import markup
from glassine.base.errors import Finding
from glassine.record.parsed import finding, parse

MAX_FINDINGS = 10
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
    by_namespace: dict[str, Path] = {}
    for path in sorted(schema_dir.rglob("*.xsd")):
        with path.open("rb") as handle:
            target = _TARGET.search(handle.read(20_000))
        namespace = target[1].decode("utf-8", "replace") if target else ""
        pattern = _OFFICIAL.get(namespace)
        if pattern and pattern.fullmatch(path.name.lower()):
            by_namespace.setdefault(namespace, path)
    return by_namespace


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
        return check_root(parse(path), path.name, schema_dir)
    except (OSError, ValueError, etree.LxmlError) as problem:
        return [_unusable(schema_dir, problem)]


def _unusable(schema_dir: Path, problem: Exception) -> Finding:
    return Finding(
        "record.schemas",
        str(schema_dir),
        f"The official schemas cannot be used: {problem}.",
        "mets.xsd, mods-3-8.xsd, premis.xsd, mix20.xsd, dcterms.xsd, dc.xsd, "
        "dcmitype.xsd, xlink.xsd and xml.xsd in the folder.",
        "Correct `records.schema_dir`.",
    )


def check_root(root: Any, name: str, schema_dir: Path) -> list[Finding]:
    """Return what the official schemas find in a record that was parsed already (see
    `check_schemas`). name: of its file, for the findings."""
    try:
        schema = _official(schema_dir)
    except (OSError, ValueError, etree.LxmlError) as problem:
        return [_unusable(schema_dir, problem)]
    if schema.validate(root):
        return []
    return [
        finding(
            "schema",
            f"{name}, line {error.line}",
            f"The official schema refuses it: {error.message.rstrip('.')}.",
            "a record that the official schemas accept.",
        )
        for error in list(schema.error_log)[:MAX_FINDINGS]
    ]
