"""The readings as PREMIS 3.0: an event of the type "fixity check" each, for whoever asks for proof.

What was read is an intellectual entity of its own (the masters of an item, its results, an item of
a bag), named as in `holdings.Part.key`.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from lxml import etree

from glassine import __version__
from glassine.audit.readings import Line
from glassine.base import files
from glassine.base.markup import Element, add, element
from glassine.record.premis import LOCAL, VERSION, Agent, Event

_PROGRAM = Agent("software", "glassine", __version__)


def document(lines: Iterable[Line]) -> bytes:
    """Return the PREMIS document of these readings; of none, it holds no event."""
    lines = list(lines)
    root = element("premis:premis", version=VERSION)
    for key in dict.fromkeys(line.key for line in lines):
        root.append(_object(key))
    for number, line in enumerate(lines, 1):
        root.append(_event(number, line).build())
    if lines:
        root.append(_PROGRAM.build())
    text: bytes = etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True)
    return text


def write(path: Path, lines: Iterable[Line]) -> None:
    files.write_bytes(path, document(lines))


def _object(key: str) -> Element:
    root = element("premis:object", xsi__type="premis:intellectualEntity")
    holder = add(root, "premis:objectIdentifier")
    add(holder, "premis:objectIdentifierType", LOCAL)
    add(holder, "premis:objectIdentifierValue", key)
    return root


def _event(number: int, line: Line) -> Event:
    return Event(
        id=f"audit/{number}",
        kind="fixity check",
        time=line.time,
        outcome="fail" if line.findings else "pass",
        detail=f"{line.files} files, {line.bytes} bytes read and compared by SHA-256; "
        f"digest over the recorded list: {line.expected}",
        note=f"{line.findings} not as recorded" if line.findings else None,
        agents=((_PROGRAM, "executing program"),),
        sources=(line.key,),
    )
