"""One review of one batch: what stands in corrections.yaml, and what a person adds to it.

Several people may decide at the same time, in one process or in several. A save is put together
with what stands in the file at that moment, frame by frame; where two people decided the same frame
otherwise, the later one is refused and told, so that nobody overwrites another.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import secrets
import shutil
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from http import HTTPStatus
from pathlib import Path
from typing import Any

import msgspec

from glassine.base import (
    clock,
    corrections,
    decisions,
    files,
    folders,
    naming,
    record_files,
    settings,
)
from glassine.base.errors import GlassineError
from glassine.base.model import ItemId
from glassine.base.records.corrections import Correction
from glassine.base.records.intake import Items
from glassine.review import before

_LOCK = ".corrections.lock"


class Refused(Exception):
    """A request that is not answered; `status` for the client, the text for the person."""

    def __init__(self, status: HTTPStatus, text: str) -> None:
        super().__init__(text)
        self.status = status


@dataclass
class Session:
    """One review of one batch.

    results: `results/<batch>/`; batch_dir: the masters' folder of the batch; writable: whether
    corrections.yaml may be written there (else the page offers a download).
    """

    batch: str
    results: Path
    batch_dir: Path
    writable: bool
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    lock: threading.RLock = field(default_factory=threading.RLock)
    # What this session wrote last: decisions of the queue come one by one.
    written: str = ""
    # Tells one process' revisions from another's.
    epoch: str = field(default_factory=lambda: secrets.token_hex(6))

    def __post_init__(self) -> None:
        self._revision = 0
        self._changed: dict[ItemId, int] = {}
        self._decided = corrections.Decided()
        self._stamp: tuple[int, ...] | None = None
        self._texts: dict[ItemId, tuple[Correction, str]] = {}
        self._known: tuple[tuple[int, ...], frozenset[str]] | None = None
        self._journal = decisions.Journal(self.results / decisions.FILE_NAME)

    @property
    def target(self) -> Path:
        return self.batch_dir / corrections.FILE_NAME

    def standing(self) -> corrections.Decided:
        """Return what stands in corrections.yaml now. Raises GlassineError for a damaged file.

        The file is read again only where it is another one than at the last look.
        """
        with self.lock:
            stamp = _stamp_of(self.target)
            if stamp != self._stamp or stamp is None:
                decided = corrections.read(self.target) if stamp else corrections.Decided()
                self._note(decided, stamp)
            return self._decided

    def _note(self, decided: corrections.Decided, stamp: tuple[int, ...] | None) -> None:
        """Keep what the file holds, and number what changed since the last look."""
        was, now = self._decided.corrections, decided.corrections
        changed = [item for item in {*was, *now} if was.get(item) != now.get(item)]
        if changed:
            self._revision += 1
            self._changed |= dict.fromkeys(changed, self._revision)
        self._decided, self._stamp = decided, stamp

    def describe(self, since: str = "") -> dict[str, Any]:
        """Return what the page is told: whether it may save, and what stands.

        since: the revision that the page has; then only what changed after it is told.
        """
        try:
            with self.lock:
                self.standing()
                return {"writable": self.writable, **self._news(since)}
        except GlassineError as problem:
            return {"writable": False, "corrections": {}, "message": str(problem)}

    def _news(self, since: Any) -> dict[str, Any]:
        epoch, _, number = since.partition("-") if isinstance(since, str) else ("", "", "")
        standing = self._decided.corrections
        told = {"revision": f"{self.epoch}-{self._revision}"}
        if epoch != self.epoch or not (number.isascii() and number.isdigit() and len(number) < 10):
            return {**told, "corrections": msgspec.to_builtins(standing)}
        later = [item for item, at in self._changed.items() if at > int(number)]
        return {
            **told,
            "changes": {item: msgspec.to_builtins(standing.get(item)) for item in later},
        }

    def items(self) -> frozenset[str]:
        """Return the ids of the batch. Raises GlassineError where its record cannot be read."""
        path = self.results / "intake.json"
        stamp = _stamp_of(path)
        if self._known is None or stamp is None or self._known[0] != stamp:
            intake = record_files.load(path, "intake", Items)
            self._known = (stamp or (), frozenset(entry.item for entry in intake.items))
        return self._known[1]

    def save(self, body: Any, role: str | None = None) -> dict[str, Any]:
        """Put the corrections of a request in place; return what the page tells the person.

        body: {"corrections": [entries], "seen": {item: correction as the page knew it}}; it may
        have "since" (the revision that the page has) and "seconds" ({item: how long a person
        looked}). role: who is logged in; then decisions are theirs and of now, whatever the
        request says. `conflicts` names the items of which nothing was saved, as somebody decided
        the same otherwise; `gone` those that the batch has no more. Raises GlassineError for
        corrections that break a rule, Refused for what may not be.
        """
        if not self.writable:
            raise Refused(
                HTTPStatus.FORBIDDEN,
                "Saving into the batch folder is not allowed here. Download the file instead.",
            )
        if not isinstance(body, dict) or not isinstance(body.get("seen"), dict):
            raise Refused(HTTPStatus.BAD_REQUEST, "The request is not what the page sends.")
        asked = {"corrections": body.get("corrections")}
        new = corrections.check(asked, corrections.FILE_NAME).corrections
        # An entry that names the item of a capture stands where the capture had no item yet.
        unknown = sorted(set(new) - self.items() - set(self.standing().corrections))
        if unknown and len(unknown) == len(new):
            raise Refused(
                HTTPStatus.UNPROCESSABLE_ENTITY, f"The batch has no item {', '.join(unknown)}."
            )
        # Of a page that was open while a run went on, what is about items still there counts.
        new = {item: each for item, each in new.items() if item not in unknown}
        if role is not None:
            now = clock.now_text()
            new = {
                item: msgspec.structs.replace(each, by=role, when=now) for item, each in new.items()
            }
        with self.changing():
            answer = self._put(new, body)
        if unknown:
            answer["gone"] = unknown
            answer["message"] += (
                f" Nothing was saved of {', '.join(unknown)}, which the batch does not have any "
                "more: load the page again."
            )
        return answer

    @contextlib.contextmanager
    def changing(self) -> Iterator[None]:
        """Hold the right to change corrections.yaml, against other threads and processes."""
        self.results.mkdir(parents=True, exist_ok=True)
        with self.lock, (self.results / _LOCK).open("a") as handle:
            fcntl.flock(handle, fcntl.LOCK_EX)
            yield

    def _put(self, new: dict[ItemId, Correction], body: dict[str, Any]) -> dict[str, Any]:
        standing = self.standing()
        joined: dict[ItemId, Correction] = {}
        conflicts = []
        for item, correction in new.items():
            whole = joined_with(body["seen"].get(item), correction, standing.corrections.get(item))
            if whole is None:
                conflicts.append(item)
            else:
                joined[item] = whole
        result, changed = corrections.merged(standing.corrections, joined)
        twice = corrections.claimed_twice(result)
        if twice:
            raise GlassineError(twice)
        seconds = body["seconds"] if isinstance(body.get("seconds"), dict) else {}
        made = [
            decision
            for item in changed
            for decision in decisions.between(
                item, standing.corrections.get(item), result.get(item), new[item], seconds.get(item)
            )
        ]
        if changed:
            self._write(result, standing, made)
        return self._words(changed, conflicts, body.get("since"))

    def _write(
        self,
        result: dict[ItemId, Correction],
        standing: corrections.Decided,
        made: list[decisions.Decision],
    ) -> None:
        text = corrections.as_text(result, standing.withdraw, self._texts)
        if len(text.encode()) > settings.MAX_YAML_BYTES:
            raise Refused(
                HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
                f"corrections.yaml would be larger than {settings.MAX_YAML_BYTES} bytes, which "
                "no run reads. Nothing was saved.",
            )
        self.keep_earlier()
        before.keep(self.results, made)
        self._journal.add(made)
        files.write_text(self.target, text)
        self.written = text
        self._note(corrections.Decided(result, standing.withdraw), _stamp_of(self.target))

    def _words(self, changed: list[ItemId], conflicts: list[ItemId], since: Any) -> dict[str, Any]:
        count = len(changed)
        message = (
            f"Saved in {self.target}: {count} item{'' if count == 1 else 's'} changed. "
            "The next run redoes just these."
        )
        if conflicts:
            message = (
                f"Somebody changed {', '.join(conflicts)} in corrections.yaml meanwhile. "
                "Your changes are kept here; load the page again to see theirs."
            )
        return {
            "saved": not conflicts,
            "conflicts": conflicts,
            "message": message,
            **self._news(since),
        }

    def keep_earlier(self) -> None:
        """Keep the file that is about to be replaced (its comments too) with the results; what
        this session itself wrote last is not kept once more."""
        if not self.target.exists() or self.target.read_text("utf-8") == self.written:
            return
        folder = self.results / "report" / "corrections-before"
        folder.mkdir(parents=True, exist_ok=True)
        name = clock.now_text().replace(":", "")
        number = len(list(folder.glob("*.yaml"))) + 1
        shutil.copyfile(self.target, folder / f"{name}-{number:03d}.yaml")


def _stamp_of(path: Path) -> tuple[int, ...] | None:
    """Return what tells one state of a file from another, None where there is none."""
    try:
        found = path.stat()
    except FileNotFoundError:
        return None
    return (found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns)


def joined_with(seen: Any, new: Correction, standing: Correction | None) -> Correction | None:
    """Return `new` together with what others decided since `seen`, None where both decided the
    same part otherwise.

    seen: the correction as the person's page knew it, plain data of that page. A part (the note,
    the identity, a frame) that the person left as it was stays as it stands now.
    """
    mine, theirs, known = (
        decisions.parts(msgspec.to_builtins(new)),
        decisions.parts(msgspec.to_builtins(standing)),
        decisions.parts(seen),
    )
    if known == theirs or mine == theirs:
        return new
    whole: dict[decisions.Part, Any] = {}
    for part in {**theirs, **mine, **known}:
        was, want, stands = known.get(part), mine.get(part), theirs.get(part)
        if want not in (was, stands) and stands != was:
            return None
        kept = stands if want == was else want
        if kept is not None:
            whole[part] = kept
    value = {
        "by": new.by,
        "when": new.when,
        "note": whole.get(decisions.Part("note")),
        "identity": whole.get(decisions.Part("identity")),
        "frames": [kept for part, kept in whole.items() if part.name == "frame"],
    }
    return msgspec.convert(value, Correction)


def _only_batch(results: Path) -> str:
    batches = sorted(path.parent.parent.name for path in results.glob("*/report/index.html"))
    if len(batches) == 1:
        return batches[0]
    raise GlassineError.because(
        "review.batch",
        results,
        f"{len(batches)} batches have a report here: {', '.join(batches) or 'none'}.",
        "one batch, or its name after the command.",
        "Run `scripts/nightly` first, or name the batch: scripts/review <batch>.",
    )


def open_session(config: dict[str, Any], working_dir: Path, batch: str | None) -> Session:
    """Return the session of a batch (the only one with a report, where none is named).

    Raises GlassineError where there is no such report.
    """
    results = working_dir / "results"
    try:
        name = naming.check_batch(batch or _only_batch(results))
    except ValueError as problem:
        raise GlassineError.because(
            "review.batch",
            batch,
            f"This cannot be the name of a batch: {problem}.",
            "the name of a batch.",
            "Correct the name.",
        ) from problem
    if not (results / name / "report" / "index.html").is_file():
        raise GlassineError.because(
            "review.report",
            results / name / "report",
            "This batch has no report.",
            "a report page that a run has made.",
            "Run `scripts/nightly` first.",
        )
    batch_dir = folders.masters_folder(config["masters"], working_dir) / name
    allowed = config["report"]["corrections"] == "batch_folder"
    writable = allowed and batch_dir.is_dir() and os.access(batch_dir, os.W_OK)
    return Session(name, results / name, batch_dir, writable)
