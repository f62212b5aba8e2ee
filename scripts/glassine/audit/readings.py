"""Which part was read when, and what came of it: `results/audit.sqlite`.

The file serves alone to know what was read longest ago, and for the list of readings. Where it is
lost, parts count as last read when their records say so; where it is damaged, it is put aside and
begun again, which is told.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from glassine.audit.holdings import Part
from glassine.base import item_states
from glassine.base.errors import Finding

NAME = "audit.sqlite"
_TABLES = """
CREATE TABLE IF NOT EXISTS part (
  key TEXT PRIMARY KEY, kind TEXT NOT NULL, batch TEXT NOT NULL, bag TEXT NOT NULL,
  name TEXT NOT NULL, bytes INTEGER NOT NULL, read TEXT NOT NULL, expected TEXT NOT NULL,
  stamp TEXT NOT NULL, findings TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS reading (
  number INTEGER PRIMARY KEY, time TEXT NOT NULL, key TEXT NOT NULL, expected TEXT NOT NULL,
  bytes INTEGER NOT NULL, files INTEGER NOT NULL, findings INTEGER NOT NULL);
CREATE TABLE IF NOT EXISTS seal (key TEXT PRIMARY KEY, stamp TEXT NOT NULL, sha256 TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS fact (name TEXT PRIMARY KEY, value TEXT NOT NULL);
"""


@dataclass(frozen=True)
class Standing:
    """A part as it was last read. findings: what was wrong with it then."""

    part: Part
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Line:
    """One reading. time: xs:dateTime, UTC; key, expected: of the part; findings: how many."""

    time: str
    key: str
    expected: str
    bytes: int
    files: int
    findings: int


class Readings:
    """The readings of a working directory, kept as they are made. Raises sqlite3.Error, OSError."""

    def __init__(self, connection: sqlite3.Connection, notes: list[Finding]) -> None:
        self._connection = connection
        self.notes = notes

    @classmethod
    def open(cls, results: Path, now: str) -> Self:
        """Open the readings below `results/`. now: xs:dateTime, names a damaged file put aside."""
        path = results / NAME
        results.mkdir(parents=True, exist_ok=True)
        try:
            return cls(_connected(path), [])
        except sqlite3.DatabaseError as problem:
            if isinstance(problem, sqlite3.OperationalError):
                raise
            aside = path.with_name(f"{NAME}.damaged-{now.replace(':', '')}")
            path.replace(aside)
            return cls(_connected(path), [_begun_again(path, aside, problem)])

    def close(self) -> None:
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def known(self) -> dict[str, Standing]:
        """Return {key: the part as it was last seen or read}."""
        columns = "key, kind, batch, name, bytes, read, expected, bag, stamp, findings"
        with closing(self._connection.execute(f"SELECT {columns} FROM part")) as rows:  # noqa: S608
            return {
                row[0]: Standing(
                    Part(*row[1:9]),
                    ()
                    if row[9] == "[]"  # of most parts
                    else tuple(item_states.finding(entry, NAME) for entry in json.loads(row[9])),
                )
                for row in rows
            }

    def see(self, parts: list[Part], known: dict[str, Standing]) -> None:
        """Keep what there is now: new parts, parts made anew; forget parts that are no more."""
        changed = [part for part in parts if part.key not in known or known[part.key].part != part]
        gone = {*known} - {part.key for part in parts}
        with self._connection:
            self._connection.executemany(
                "INSERT OR REPLACE INTO part VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [(*_row(part), _findings_of(part, known)) for part in changed],
            )
            self._connection.executemany("DELETE FROM part WHERE key = ?", [(key,) for key in gone])

    def keep(self, part: Part, now: str, size: int, files: int, findings: list[Finding]) -> None:
        """Keep a reading as soon as it is made, so that a run that is killed loses at most one."""
        told = _as_json(findings)
        with self._connection:
            self._connection.execute(
                "UPDATE part SET read = ?, findings = ? WHERE key = ?", (now, told, part.key)
            )
            self._connection.execute(
                "INSERT INTO reading (time, key, expected, bytes, files, findings) "
                "VALUES (?, ?, ?, ?, ?, ?)",
                (now, part.key, part.expected, size, files, len(findings)),
            )

    def lines(self) -> Iterator[Line]:
        """Yield every reading, the first one first."""
        columns = "time, key, expected, bytes, files, findings"
        query = f"SELECT {columns} FROM reading ORDER BY number"  # noqa: S608
        with closing(self._connection.execute(query)) as rows:
            for row in rows:
                yield Line(*row)

    def seal(self, key: str) -> tuple[str, str] | None:
        """Return size and time, and SHA-256, of a file that no list tells of, as first read."""
        query = "SELECT stamp, sha256 FROM seal WHERE key = ?"
        with closing(self._connection.execute(query, (key,))) as rows:
            row = rows.fetchone()
        return (str(row[0]), str(row[1])) if row else None

    def note_seal(self, key: str, seal: tuple[str, str] | None) -> None:
        """Keep what `seal` returns; None forgets it. Kept for good by the next `keep` or `see`."""
        if seal is None:
            self._connection.execute("DELETE FROM seal WHERE key = ?", (key,))
        else:
            row = (key, *seal)
            self._connection.execute("INSERT OR REPLACE INTO seal VALUES (?, ?, ?)", row)

    def fact(self, name: str) -> str | None:
        with closing(
            self._connection.execute("SELECT value FROM fact WHERE name = ?", (name,))
        ) as rows:
            row = rows.fetchone()
        return str(row[0]) if row else None

    def note_fact(self, name: str, value: str | None) -> None:
        """Keep a fact by name; None forgets it."""
        with self._connection:
            if value is None:
                self._connection.execute("DELETE FROM fact WHERE name = ?", (name,))
            else:
                self._connection.execute("INSERT OR REPLACE INTO fact VALUES (?, ?)", (name, value))


def batches(results: Path) -> set[str]:
    """Return the batches that the list of readings knows; none where it cannot be read."""
    path = results / NAME
    if not path.is_file():
        return set()
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as opened:
            return {str(row[0]) for row in opened.execute("SELECT DISTINCT batch FROM part")}
    except sqlite3.Error:
        return set()  # it is put aside and told when it is opened


def _findings_of(part: Part, known: dict[str, Standing]) -> str:
    """Return, as JSON, what was wrong with the part: of one made anew, nothing is known."""
    before = known.get(part.key)
    same = before is not None and before.part.expected == part.expected
    return _as_json(before.findings if before and same else ())


def _as_json(findings: Iterable[Finding]) -> str:
    return json.dumps([finding.as_dict() for finding in findings])


def _row(part: Part) -> tuple[str | int, ...]:
    return (
        part.key,
        part.kind,
        part.batch,
        part.bag,
        part.name,
        part.bytes,
        part.read,
        part.expected,
        part.stamp,
    )


def _connected(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path)
    try:
        connection.execute("PRAGMA journal_mode = DELETE")
        connection.execute("PRAGMA synchronous = FULL")
        connection.executescript(_TABLES)
        answer = connection.execute("PRAGMA quick_check").fetchone()
        if answer[0] != "ok":
            raise sqlite3.DatabaseError(str(answer[0]))
    except sqlite3.Error:
        connection.close()
        raise
    return connection


def _begun_again(path: Path, aside: Path, problem: sqlite3.Error) -> Finding:
    return Finding(
        "audit.readings",
        str(path),
        f"The list of what was read when is damaged ({problem}) and was begun again; the damaged "
        f"one is kept as {aside.name}.",
        "the file as nights wrote it.",
        "Nothing is lost but the list: until they are read again, parts count as read when their "
        "records say so. Check the disk.",
        "note",
    )
