"""The project's own check of a record: by profile.rng, by rules in code, and against the files."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

from lxml import etree

from glassine.base.errors import Finding
from glassine.record import on_disk, rules
from glassine.record.parsed import Hashed, ParsedRecord, finding, parse

# So many findings of a kind are told.
MAX_FINDINGS = 10

Rule = Callable[[ParsedRecord], Iterator[Finding]]
# Of what a record says, wherever its files are.
_SAID: tuple[Rule, ...] = (
    rules.profile,
    rules.namespaces,
    rules.references,
    rules.identifiers,
    rules.times,
    rules.images,
    rules.beside,
    rules.agreement,
    rules.structure,
    rules.links,
)
RULES: tuple[Rule, ...] = (
    *_SAID,
    on_disk.item_name,
    on_disk.on_disk,
    on_disk.beside,
    on_disk.unlisted,
    on_disk.tile_trees,
)


def prepare() -> None:
    """Read once a process what records are checked by."""
    rules.prepare()


def check_record(
    path: Path,
    item_dir: Path,
    *,
    standing_in: dict[str, Path] | None = None,
    hashed: dict[str, Hashed] | None = None,
    tiles: bool = True,
) -> list[Finding]:
    """Return what is wrong with the record of an item, nothing where it is sound.

    path: METS.xml. item_dir: the item's folder, or the root of its package: files are looked for
    there, and masters (which the item's folder does not hold) in its fixity.json. standing_in:
    files that do not have their names yet. hashed: files of the package that the caller has just
    read, by path; they are not read again. tiles: whether to read every tile again. Never raises
    for a bad record.
    """
    try:
        root = parse(path)
    except (OSError, ValueError, etree.XMLSyntaxError) as problem:
        return [finding("xml", path.name, f"It cannot be read: {problem}.", "well-formed XML.")]
    record = ParsedRecord(root, path, item_dir, standing_in or {}, hashed or {}, tiles)
    return _bounded([entry for rule in RULES for entry in rule(record)])


def said(record: ParsedRecord) -> list[Finding]:
    """Return what is wrong with what a record says, whatever files there are."""
    return _bounded([entry for rule in _SAID for entry in rule(record)])


def _bounded(findings: list[Finding]) -> list[Finding]:
    """Return at most MAX_FINDINGS of each kind: one cause may touch every file."""
    counted: Counter[str] = Counter()
    bounded = []
    for entry in findings:
        counted[entry.code] += 1
        if counted[entry.code] <= MAX_FINDINGS:
            bounded.append(entry)
    return bounded
