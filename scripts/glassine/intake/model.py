"""What was read of a batch, and what intake says of it.

`Batch` is read once and never changes. Each check takes it and adds what it found to `Collector`.
"""

from __future__ import annotations

import fnmatch
import functools
import posixpath
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, cast

from glassine.base import door, naming
from glassine.base.errors import Finding
from glassine.base.model import BatchId, ItemId
from glassine.base.numbers import Numbers
from glassine.base.records.batch_file import BatchFile, StatedTarget
from glassine.base.records.catalogue import CatalogueRow
from glassine.base.records.corrections import Correction, Identity, Withdrawal
from glassine.base.records.developed import Role
from glassine.base.records.intake import (
    BY_NAME,
    CalibrationEntry,
    Companion,
    Identified,
    Label,
    LeftOut,
    TargetEntry,
)
from glassine.intake import batch_facts, batch_lists
from glassine.intake.given import Settings
from glassine.intake.like_rows import LikeRows

if TYPE_CHECKING:
    from glassine.intake.catalogue.reading import Catalogue

# Pictures that are not masters: held, so that a person sees that they were not taken for any.
OTHER_PICTURE_SUFFIXES = {
    ".jpg", ".jpeg", ".png", ".jp2", ".jxl", ".webp", ".avif", ".heic", ".bmp", ".gif", ".dng",
    ".raw", ".psd", ".psb",
}  # fmt: skip
_PICTURE_SUFFIXES = naming.MASTER_SUFFIXES | OTHER_PICTURE_SUFFIXES


def _suffix(name: str) -> str:
    return PurePosixPath(name).suffix.lower()


def is_master(name: str) -> bool:
    """Return whether a file of this name is taken for a master."""
    return _suffix(name) in naming.MASTER_SUFFIXES


def is_picture(name: str) -> bool:
    """Return whether a file of this name is a picture, master or not."""
    return _suffix(name) in _PICTURE_SUFFIXES


def target_files(targets: Iterable[StatedTarget]) -> set[str]:
    """Return the paths of all captures that belong to targets: they are no items.

    targets: as batch.yaml states them.
    """
    return {
        posixpath.normpath(path) for target in targets for path in (target.path, *target.others)
    }


@dataclass(frozen=True)
class Batch:
    """What lies in a batch folder, and what its side files state.

    settings: the sections naming, intake, catalogue, rights and tone. scheme: how names tell items;
    numbers: which spellings of one are the same.
    facts: batch.yaml; statements: the facts that it states of each master. targets: those of
    batch.yaml with their captures. catalogue_path: the file that `catalogue` was read from; both
    are None where there is none. companions: paths of what says something of the batch, and is
    none of its other files.
    """

    name: BatchId
    folder: Path
    settings: Settings
    scheme: naming.Scheme
    numbers: Numbers
    listing: door.Listing
    lists: batch_lists.Lists
    facts: BatchFile
    statements: batch_facts.Statements
    corrections: dict[ItemId, Correction]
    withdrawals: list[Withdrawal]
    targets: list[TargetEntry]
    catalogue_path: Path | None
    catalogue: Catalogue | None
    companions: frozenset[str]

    @property
    def records(self) -> Mapping[ItemId, CatalogueRow]:
        """The catalogue's record of each item that has one."""
        return self.catalogue.records if self.catalogue else {}

    def has_row(self, item: ItemId) -> bool:
        """Return whether the catalogue has a row of the item, be it a bad one."""
        return self.catalogue is not None and (
            item in self.catalogue.records or item in self.catalogue.bad_items
        )

    @functools.cached_property
    def spelled(self) -> dict[str, ItemId]:
        """The id of each item of the catalogue, by what is the same for all spellings of it."""
        if self.catalogue is None:
            return {}
        items = [*self.catalogue.bad_items, *self.catalogue.records]
        return {self.numbers.key(item): item for item in items}

    def named(self, path: str) -> naming.MasterName | None:
        """Return what the name of a file tells, its item spelled as the catalogue has it, or None.

        A mark of a retake is taken for a part of the number only where the catalogue has such a
        number.
        """
        parsed = naming.parse(path, self.scheme)
        if parsed is None and naming.is_raw(path):  # named as its TIFF would be
            parsed = naming.parse(naming.developed_path(path), self.scheme)
        whole = parsed.whole if parsed else None
        if parsed and whole and whole.item != parsed.item and self.has_row(self.spell(whole.item)):
            parsed = whole
        return replace(parsed, item=self.spell(parsed.item)) if parsed else None

    def spell(self, item: str) -> ItemId:
        """Return an id as the catalogue spells it, where it is the same number as one there."""
        key = self.numbers.key(item)
        return self.spelled.get(key, ItemId(self.numbers.meant(item)))

    @functools.cached_property
    def listed(self) -> dict[str, list[Row]]:
        """The rows of the catalogue that list a master, by its path.

        A row names it by path, name or stem. A name that several files have tells none of them.
        """
        by_word: dict[str, list[str]] = {}
        for entry in self.listing.files:
            if entry.path in self.tiffs_beside:
                continue  # its raw file answers to its name
            if is_master(entry.name) or entry.path in self.raw_masters:
                path = PurePosixPath(entry.path)
                words = {entry.path, entry.name, str(path.with_suffix("")), path.stem}
                if self.tiffs_beside and entry.path in self.raw_masters:
                    words |= {str(path.with_suffix(".tif")), f"{path.stem}.tif"}
                for word in words:
                    by_word.setdefault(word.casefold(), []).append(entry.path)
        found: dict[str, list[Row]] = {}
        listing = self.catalogue.listing_masters(by_word) if self.catalogue else []
        for item in listing:
            record = self.records.get(item)
            masters = record.masters if record else []
            for place, name in enumerate(masters, 1):
                paths = by_word.get(name.replace("\\", "/").casefold(), [])
                if len(set(paths)) == 1:
                    found.setdefault(paths[0], []).append(Row(item, place, len(masters)))
        return found

    @functools.cached_property
    def paths(self) -> frozenset[str]:
        """The paths of all files of the batch folder."""
        return frozenset(entry.path for entry in self.listing.files)

    @functools.cached_property
    def rows_like(self) -> LikeRows:
        """The catalogue's numbers, by what they look like."""
        return LikeRows(self.spelled.values())

    @functools.cached_property
    def forced(self) -> dict[str, Identity]:
        """What a person decided about the item of a master, by its path."""
        return {
            identity.master: identity
            for correction in self.corrections.values()
            for identity in correction.identities
        }

    @functools.cached_property
    def calibration_roles(self) -> dict[str, Role]:
        """The session's own raw captures of the bare table and of the dark, by path: their names
        fit the patterns of the settings and tell no item of the catalogue."""
        raw = self.settings.raw
        found: dict[str, Role] = {}
        for entry in self.listing.files:
            stem = PurePosixPath(entry.path).stem.casefold()
            if not naming.is_raw(entry.name) or entry.path in self.target_paths:
                continue
            for role, globs in (("light", raw.light_names), ("dark", raw.dark_names)):
                fits = any(fnmatch.fnmatchcase(stem, glob.casefold()) for glob in globs)
                named = self.named(entry.path)
                if fits and not (named and self.has_row(named.item)):
                    found.setdefault(entry.path, cast(Role, role))
        return found

    @functools.cached_property
    def raw_masters(self) -> frozenset[str]:
        """Paths of raw files that are masters: those without a TIFF of their stem, and by setting
        those with one."""
        stems = {
            PurePosixPath(entry.path).stem.casefold()
            for entry in self.listing.files
            if is_master(entry.name) and entry.path not in self.target_paths
        }
        if self.settings.raw.with_tiff == "master":
            stems = set()
        return frozenset(
            entry.path
            for entry in self.listing.files
            if naming.is_raw(entry.name)
            and PurePosixPath(entry.path).stem.casefold() not in stems
            and entry.path not in self.calibration_roles
            and entry.path not in self.target_paths
        )

    @functools.cached_property
    def tiffs_beside(self) -> frozenset[str]:
        """Paths of TIFFs that are no masters: by setting, the raw file of their stem is."""
        if self.settings.raw.with_tiff != "master":
            return frozenset()
        stems = {PurePosixPath(path).stem.casefold() for path in self.raw_masters}
        return frozenset(
            entry.path
            for entry in self.listing.files
            if is_master(entry.name)
            and PurePosixPath(entry.path).stem.casefold() in stems
            and entry.path not in self.target_paths
        )

    @functools.cached_property
    def target_paths(self) -> set[str]:
        return target_files(self.targets)

    @functools.cached_property
    def name_words(self) -> str:
        """What a name should be like, in words, with a name of this batch where one is right."""
        names = [entry.name for entry in self.listing.files]
        names += [f"{item}.tif" for item in self.records]
        if self.scheme.of == "path":
            names = [entry.path for entry in self.listing.files]
        example = next((name for name in names if naming.parse(name, self.scheme)), None)
        like = f", such as {example}" if example else ""
        return (
            f"a file name as the studio agreed{like}; the rule is `naming.pattern` in "
            "config/config.yaml."
        )


@dataclass(frozen=True)
class Row:
    """A row of the catalogue that lists a master: its item, the master's place among those that it
    lists, and how many it lists."""

    item: ItemId
    place: int
    of: int


@dataclass(frozen=True)
class Master:
    """A master of an item.

    path: in the batch. part, sequence: its place in the item, as its name says; take: which capture
    of the same thing it is, where the name says so. identified: what told the item. size_bytes,
    mtime_ns: as listed. place: device and inode. expected: {algorithm: hex digest} of the checksum
    lists. size_px: [width, height], None where the header does not say. waits: not at rest yet.
    """

    path: str
    part: str | None
    sequence: str | None
    size_bytes: int
    mtime_ns: int
    place: tuple[int, int]
    expected: dict[str, str]
    size_px: list[int] | None
    waits: bool
    take: int | None = None
    identified: Identified = BY_NAME
    superseded_by: str | None = None


@dataclass
class Item:
    """An item, or the stand-in of a file that tells none. labels: those seen in its masters.
    companions: pictures beside them, see `beside`. roll, place: the roll that it is a part of, and
    where on it. left_out: files of it that are no masters of it, by the settings."""

    item: ItemId
    masters: list[Master] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    companions: list[Companion] = field(default_factory=list)
    roll: str | None = None
    place: str | None = None
    left_out: list[LeftOut] = field(default_factory=list)

    @property
    def waiting(self) -> bool:
        return any(master.waits for master in self.masters)


@dataclass
class Collector:
    """The items of a batch and what is said of them; every check adds to it.

    notes: what concerns no item. doubts: what makes the whole batch uncertain; in the end they hold
    each item. ignored: paths of files that are left out by the settings. calibration: a session's
    own raw captures of the bare table and of the dark.
    """

    items: dict[ItemId, Item] = field(default_factory=dict)
    notes: list[Finding] = field(default_factory=list)
    doubts: list[Finding] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)
    calibration: list[CalibrationEntry] = field(default_factory=list)

    def item(self, item: ItemId) -> Item:
        """Return the item of this id; it is made where there is none yet."""
        return self.items.setdefault(item, Item(item))

    def masters(self) -> Iterator[tuple[Item, Master]]:
        """Yield each master with its item."""
        for item in self.items.values():
            for master in item.masters:
                yield item, master

    def owners(self) -> dict[str, ItemId]:
        """Return {path of a master: its item}."""
        return {master.path: item.item for item, master in self.masters()}

    def hold(
        self, item: ItemId, code: str, path: str, what: str, expected: str, next_step: str
    ) -> None:
        """Hold an item until a person acts."""
        self.item(item).findings.append(Finding(code, path, what, expected, next_step))

    def note(
        self,
        code: str,
        path: str,
        what: str,
        expected: str,
        next_step: str,
        severity: str = "note",
    ) -> None:
        """Say something of the batch that holds nothing; severity: "note" or "review"."""
        self.notes.append(Finding(code, path, what, expected, next_step, severity))

    def doubt(self, code: str, path: str, what: str, expected: str, next_step: str) -> None:
        """Hold the whole batch until a person acts."""
        self.doubts.append(Finding(code, path, what, expected, next_step))
