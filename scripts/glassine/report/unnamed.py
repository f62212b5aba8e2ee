"""Captures whose item is not known: their pictures, and the rows of the catalogue that may be
theirs, for a person who says which item each is."""

from __future__ import annotations

import difflib
import hashlib
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

import msgspec

from glassine.base import files, naming, sandbox, wording
from glassine.base.errors import Finding
from glassine.base.helper_process import Apart
from glassine.masters.opening import MAX_PIXELS
from glassine.report.shown import Batch, Item, Master, NearRow, Unnamed, address

FOLDER = "unnamed"
# What holds an item that has an id because it is not certain whose its masters are; `identity` in
# corrections.yaml settles it.
CODES = frozenset({"catalogue.master_of_two", "intake.separator", "intake.two_identities"})
# What another item may settle as well, though most often the catalogue lacks the row.
_NO_ROW = "catalogue.no_row"
# A capture that waits for the rest of its session is asked about when that has come to rest.
_WAITS = "intake.separator_waits"
# Rows named beside a capture: one key each.
NEAR = 8
# Rows that the page can search.
LISTED = 20_000
# Pictures made in one night, and the time of one: some 1.5 s for 150 megapixels.
_MOST_PICTURES, _SECONDS = 300, 60.0
# Likeness of a file's name and an id, of 1, from which they are called alike.
_ALIKE = 0.72
# Likenesses that are as good as the same, and how many rows may have the best one.
_CLOSE, _MOST_ALIKE = 0.02, 2
_DIGITS = re.compile(r"[0-9]+")
_PLAIN = re.compile(r"[^a-z0-9]")


def asked(item: Item) -> list[Master]:
    """Return the masters of an item of which a person should say whose they are."""
    holds = _holds(item)
    if naming.is_stand_in(item.item):
        return [] if all(each.code == _WAITS for each in holds) else item.masters
    about = [each for each in holds if each.code in CODES]
    paths = {each.path for each in about}
    named = [master for master in item.masters if master.path in paths]
    return named or (item.masters if about else [])


def offered_alone(item: Item) -> list[Master]:
    """Return the masters of an item without a row that none of `asked` are: mostly the row is
    missing, but a camera's own names may also be taken for an item."""
    has_row = all(each.code != _NO_ROW for each in _holds(item))
    return [] if has_row or asked(item) else item.masters


def offered(item: Item) -> list[Master]:
    """Return the masters of which a person may say whose they are."""
    return asked(item) or offered_alone(item)


def _holds(item: Item) -> list[Finding]:
    if item.status.state != "held":
        return []
    return [each for each in item.status.findings if each.severity == "hold"]


def tell(batch: Batch, results: Path, batch_dir: Path | None) -> None:
    """Give each such master its picture and the rows near it; say of a batch how many have none.

    results: `results/<batch>/`; batch_dir: the masters, None where only the records are at hand.
    """
    masters = [master for item in batch.items for master in offered(item)]
    pictures = _pictures(masters, results / "report" / FOLDER, batch_dir)
    rows = _Rows.of(batch) if masters else _Rows()
    for item in batch.items:
        for master in offered(item):
            master.unnamed = Unnamed(
                labels=list(dict.fromkeys(batch.labels.get(item.item, [])))[:NEAR],
                near=rows.near(item, master, batch),
            )
            name = pictures.get(master.path)
            if name is not None and not master.preview:
                master.preview = address(FOLDER, name)
    without = [master.path for master in masters if not master.preview]
    if without and batch_dir is not None:
        batch.notes.append(_no_picture(batch, without))


def listed(batch: Batch) -> list[tuple[str, str, str, int]]:
    """Return the rows that the page can search: (id, title, date, masters that it has), those
    without a master first."""
    has = _masters_of(batch)
    known = [row for row in batch.rows.items() if naming.is_id(row[0])]
    rows = sorted(known, key=lambda row: has[row[0]] > 0)
    return [(item, row.title or "", row.date_text or "", has[item]) for item, row in rows[:LISTED]]


def _masters_of(batch: Batch) -> Counter[str]:
    return Counter({item.item: len(item.masters) for item in batch.items})


# Pictures


def _name(master: Master) -> str:
    """Return the name of a capture's picture: another one for another file of its name."""
    state = f"{master.path}\0{master.bytes}\0{master.mtime_ns}"
    return f"{hashlib.sha256(state.encode()).hexdigest()[:24]}.jpg"


def _pictures(masters: list[Master], folder: Path, batch_dir: Path | None) -> dict[str, str]:
    """Return {path of a master: name of its picture below `folder`}, made where it is missing;
    pictures of earlier captures go."""
    wanted = {master.path: _name(master) for master in masters if not master.preview}
    kept = set(wanted.values())
    for path in folder.glob("*.jpg") if folder.is_dir() else ():
        if path.name not in kept:
            path.unlink()
    missing = [
        master
        for master in masters
        if master.path in wanted and not (folder / wanted[master.path]).is_file()
    ]
    if missing and batch_dir is not None:
        folder.mkdir(parents=True, exist_ok=True)
        with Apart("glassine.report.capture_picture:write") as painter:
            for master in missing[:_MOST_PICTURES]:
                _paint(painter, master, batch_dir, folder / wanted[master.path])
    return {path: name for path, name in wanted.items() if (folder / name).is_file()}


def _paint(painter: Apart, master: Master, batch_dir: Path, target: Path) -> None:
    try:
        source = files.inside(batch_dir, master.path)
    except (ValueError, OSError):
        return
    if not source.is_file() or source.is_symlink():
        return
    pixels = (master.width or 0) * (master.height or 0) or MAX_PIXELS
    part = target.with_name(f"{files.TEMPORARY_PREFIX}{target.name}")
    done = painter.ask(
        str(source),
        str(part),
        str(MAX_PIXELS),
        seconds=_SECONDS,
        memory_bytes=sandbox.memory_for(16 * (min(pixels, MAX_PIXELS) // 10**6)),
    )
    if done and part.is_file():
        part.replace(target)
    else:
        part.unlink(missing_ok=True)


def _no_picture(batch: Batch, paths: list[str]) -> Finding:
    return Finding(
        "report.no_picture",
        batch.batch,
        f"Which item these captures are of is asked without a picture, as none could be made: "
        f"{wording.some(paths, 5)}.",
        "a picture beside the question.",
        "Look at the file at the capture station, or run the report again.",
        "note",
    )


# Rows of the catalogue


@dataclass
class _Rows:
    """The rows of a catalogue, found by what they resemble. order: ids as the catalogue has them;
    has: how many masters each has."""

    order: list[str] = field(default_factory=list)
    has: Counter[str] = field(default_factory=Counter)
    place: dict[str, int] = field(default_factory=dict)
    by_number: dict[int, list[str]] = field(default_factory=dict)
    by_piece: dict[str, list[str]] = field(default_factory=dict)
    plain: dict[str, list[str]] = field(default_factory=dict)
    before: dict[str, tuple[str | None, str | None]] = field(default_factory=dict)

    @classmethod
    def of(cls, batch: Batch) -> _Rows:
        rows = cls(order=[*filter(naming.is_id, batch.rows)], has=_masters_of(batch))
        rows.place = {item: at for at, item in enumerate(rows.order)}
        for item in rows.order:
            rows.plain.setdefault(_plain(item), []).append(item)
            for number in _numbers(item)[-1:]:
                rows.by_number.setdefault(number, []).append(item)
            for piece in _pieces(_plain(item)):
                rows.by_piece.setdefault(piece, []).append(item)
        rows.before = _neighbours(batch)
        return rows

    def near(self, item: Item, master: Master, batch: Batch) -> list[NearRow]:
        """Return the rows that a capture may be of, the likeliest first."""
        found: dict[str, str] = {}
        for likely, why in self._likely(batch.labels.get(item.item, []), master.path):
            found.setdefault(likely, why)
            if len(found) == NEAR:
                break
        return [self._row(batch, likely, why) for likely, why in found.items()]

    def _row(self, batch: Batch, item: str, why: str) -> NearRow:
        row = batch.rows[item]
        return NearRow(item, row.title or "", row.date_text or "", why, self.has[item])

    def _likely(self, labels: list[str], path: str) -> Iterator[tuple[str, str]]:
        stem = PurePosixPath(path).stem
        for text in labels:
            for item in self.plain.get(_plain(text), []):
                yield item, "a label in the picture says so"
        yield from self._like(stem)
        numbers = _numbers(stem)
        for item in self.by_number.get(numbers[-1], [])[:2] if numbers else ():
            yield item, f"its number, {numbers[-1]}, stands in the file's name"
        yield from self._between(path)
        for item in self.order:
            if not self.has[item]:
                yield item, "no capture yet"

    def _like(self, stem: str) -> Iterator[tuple[str, str]]:
        plain = _plain(stem)
        shared = Counter(
            item for piece in _pieces(plain) for item in self.by_piece.get(piece, [])[:200]
        )
        ratios = [
            (difflib.SequenceMatcher(None, plain, _plain(item)).ratio(), item)
            for item, _ in shared.most_common(20)
        ]
        alike = sorted((each for each in ratios if each[0] >= _ALIKE), key=lambda each: -each[0])
        best = [item for ratio, item in alike if ratio > alike[0][0] - _CLOSE]
        # Ids that differ in one figure are all as like one another.
        for item in best if len(best) <= _MOST_ALIKE else ():
            yield item, "its id is like the file's name"

    def _between(self, path: str) -> Iterator[tuple[str, str]]:
        """Yield the rows without a capture that follow the capture before it, up to the one after
        it, then the items of both: it may be a further capture of one."""
        before, after = self.before.get(path, (None, None))
        start = self.place[before] + 1 if before else None
        end = self.place[after] if after else None
        if start is None and end is not None:
            start = max(0, end - 3)
        if start is not None:
            end = end if end is not None and start <= end else start + 3
            for item in self.order[start : min(end, start + 4)]:
                if not self.has[item]:
                    beside = f"follows {before}" if before else f"stands before {after}"
                    yield item, f"{beside} in the catalogue"
        if before:
            yield before, "the capture before it is of this item"
        if after:
            yield after, "the capture after it is of this item"


def _neighbours(batch: Batch) -> dict[str, tuple[str | None, str | None]]:
    """Return {path of a capture: the named items captured before and after it in its folder}, by
    the times of the files."""
    shots = sorted(
        (str(PurePosixPath(master.path).parent), master.mtime_ns or 0, master.path, item.item)
        for item in batch.items
        for master in item.masters
    )
    found: dict[str, list[str | None]] = {}
    for way, ordered in ((0, shots), (1, [*reversed(shots)])):
        last: str | None = None
        folder = None
        for where, _, path, item in ordered:
            last = last if where == folder else None
            folder = where
            found.setdefault(path, [None, None])[way] = last
            if item in batch.rows and naming.is_id(item):
                last = item
    return {path: (before, after) for path, (before, after) in found.items()}


def _plain(text: str) -> str:
    return _PLAIN.sub("", text.casefold())


def _numbers(text: str) -> list[int]:
    return [int(digits) for digits in _DIGITS.findall(text)[-3:] if len(digits) < 12]


def _pieces(plain: str) -> set[str]:
    return {plain[at : at + 3] for at in range(max(0, len(plain[:60]) - 2))}


class Rows(msgspec.Struct, frozen=True, kw_only=True):
    """The rows that the page can search; more: how many are not among them."""

    rows: list[tuple[str, str, str, int]]
    more: int


def rows_of(batch: Batch) -> Rows:
    """Return the rows for the page's search."""
    found = listed(batch)
    return Rows(rows=found, more=max(0, len(batch.rows) - LISTED))
