"""Which of a batch folder's files say something of the batch: catalogue, facts, corrections.

A person names files as it comes: `Catalogue.csv`, `catalogue.xlsx`, `batch.yml`, a second download
`corrections(1).yaml`. A name that means one of these for certain is taken for it and told; one
that may mean it is told, so that no statement is passed over in silence.
"""

from __future__ import annotations

import difflib
import re
import stat
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from glassine.base import door

# As README.md names them.
CATALOGUE_NAMES = tuple(
    f"catalogue.{ending}" for ending in ("csv", "xlsx", "ods", "json", "jsonl", "xml", "mrc")
)
FACTS_NAME = "batch.yaml"
CORRECTIONS_NAME = "corrections.yaml"

_ENDINGS_READ = (
    "csv",
    "tsv",
    "jsonl",
    "ndjson",
    "json",
    "xml",
    "mrc",
    "xlsx",
    "xlsm",
    "xls",
    "xlsb",
    "ods",
)
# The same word in the languages whose dates are read (common practice, no source).
_STEMS = ("catalogue", "catalog", "katalog", "catalogo", "catálogo", "catalogus")
_CATALOGUES = frozenset(f"{stem}.{ending}" for stem in _STEMS for ending in _ENDINGS_READ)
_FACTS = frozenset({"batch.yaml", "batch.yml"})
# The review page writes this name and no other, so no other is read.
_CORRECTIONS = frozenset({CORRECTIONS_NAME})
_TABLES = {
    "csv",
    "tsv",
    "xlsx",
    "xls",
    "xlsm",
    "ods",
    "numbers",
    "jsonl",
    "ndjson",
    "json",
    "xml",
    "mrc",
}
_STATEMENTS = {"yaml", "yml", "json", "txt", "toml"}
_ALIKE = 0.8
_PULL_LIST = re.compile(r"pull[-_ ]?list\.(?:csv|tsv|txt)")


@dataclass(frozen=True)
class Chosen:
    """What was found for one kind of side file, all in the batch folder itself.

    entries: those whose name means it for certain; alike: names of those that may mean it.
    """

    entries: tuple[door.Entry, ...]
    alike: tuple[str, ...]

    @property
    def only(self) -> door.Entry | None:
        return self.entries[0] if len(self.entries) == 1 else None


def folded(name: str) -> str:
    return unicodedata.normalize("NFKC", name).casefold().strip()


def _top(listing: door.Listing) -> list[door.Entry]:
    return [entry for entry in [*listing.files, *listing.folders] if "/" not in entry.path]


def _letters(name: str) -> str:
    return "".join(char for char in name.partition(".")[0] if char.isalpha())


def _close(letters: str, stems: Iterable[str]) -> bool:
    return any(
        letters.startswith(stem)
        or difflib.SequenceMatcher(None, letters[:40], stem).ratio() >= _ALIKE
        for stem in stems
    )


def catalogue(listing: door.Listing) -> Chosen:
    """Return what is the batch folder's own catalogue, and what may be one."""
    entries = tuple(entry for entry in _top(listing) if folded(entry.name) in _CATALOGUES)
    chosen = {entry.path for entry in entries}
    alike = [
        entry.path
        for entry in [*listing.files, *listing.folders]
        if entry.path not in chosen and _may_be_catalogue(entry)
    ]
    return Chosen(entries, tuple(alike))


def pull_lists(listing: door.Listing) -> list[door.Entry]:
    """Return the lists of items that were pulled from the shelves for this batch."""
    return [entry for entry in _top(listing) if _is_pull_list(entry.name) and entry.problem is None]


def _is_pull_list(name: str) -> bool:
    return bool(_PULL_LIST.fullmatch(folded(name)))


def _may_be_catalogue(entry: door.Entry) -> bool:
    name = folded(entry.name)
    if _is_pull_list(name):
        return False
    if stat.S_ISDIR(entry.mode):
        return name in _CATALOGUES
    endings = set(name.split(".")[1:])
    if name in _CATALOGUES or (endings & _TABLES and "/" not in entry.path):
        return True
    return _close(_letters(name), ("catalogue", "catalog", "katalog")) and not endings & {"tif"}


def facts(listing: door.Listing) -> Chosen:
    """Return what states the facts of the batch (batch.yaml), and what may."""
    return _statements(listing, _FACTS, "batch")


def corrections(listing: door.Listing) -> Chosen:
    """Return what a person decided (corrections.yaml), and what may hold such decisions."""
    return _statements(listing, _CORRECTIONS, "corrections")


def is_statement(name: str) -> bool:
    """Return whether a file of this name (folded) states something of the batch for certain."""
    return name in _CATALOGUES | _FACTS | _CORRECTIONS


def _statements(listing: door.Listing, names: frozenset[str], stem: str) -> Chosen:
    top = _top(listing)
    certain = tuple(entry for entry in top if folded(entry.name) in names)
    alike = tuple(
        entry.path
        for entry in top
        if entry not in certain
        and set(folded(entry.name).split(".")[1:]) & _STATEMENTS
        and _close(_letters(folded(entry.name)), (stem,))
    )
    return Chosen(certain, alike)


def nested(listing: door.Listing) -> dict[str, list[str]]:
    """Return {folder: side files} of folders below the batch that look like batches themselves."""
    side_files_in: dict[str, list[str]] = {}
    for entry in listing.files:
        folder = str(PurePosixPath(entry.path).parent)
        if folder != "." and folded(entry.name) in _CATALOGUES | _FACTS | _CORRECTIONS:
            side_files_in.setdefault(folder, []).append(entry.path)
    return side_files_in


def catalogue_path(batch_dir: Path) -> Path | None:
    """Return the one regular file that is the batch folder's own catalogue, or None."""
    try:
        fitting = [path for path in batch_dir.iterdir() if folded(path.name) in _CATALOGUES]
        plain = [path for path in fitting if stat.S_ISREG(path.lstat().st_mode)]
    except OSError:
        return None  # intake tells it
    return plain[0] if len(fitting) == 1 and plain else None
