"""From what a night found, by what a person saved on the page and what the next night made of it,
to what the score says: the same frames all the way, though they are numbered anew between.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import pytest

from glassine.base import corrections, record_files
from glassine.base.model import Facts, Frame, ItemGeometry, MasterGeometry
from glassine.locate import decisions
from glassine.locate.step import corrected
from glassine.review import score_frames
from glassine.review.server import Session

ITEM, MASTER, SHA256 = "PEH-0001", "m.tif", "ab" * 32


def frame(number: int, left: float, confidence: float) -> Frame:
    corners = ((left, 100.0), (left + 900, 100.0), (left + 900, 700.0), (left, 700.0))
    state = "ok" if confidence >= 0.8 else "review"
    return Frame(number, corners, 0.0, "negative", "monochrome", confidence=confidence, state=state)


def seen(*frames: Frame) -> MasterGeometry:
    return MasterGeometry(MASTER, 4000, 800, None, None, frames, kind="strip_135")


class Studio:
    """A studio with one batch of one item, whose nights and page work on the same files."""

    def __init__(self, root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.root = root
        self.results, self.batch = root / "results" / "b1", root / "masters" / "b1"
        self.folder = self.results / "items" / ITEM
        self.folder.mkdir(parents=True)
        self.batch.mkdir(parents=True)
        (root / "config.yaml").write_text("masters: masters\n", "utf-8")
        monkeypatch.setattr(Session, "_items", lambda _: {ITEM})
        self.session = Session("b1", self.results, self.batch, writable=True)

    def night(self, geometry: MasterGeometry) -> None:
        """Write the record of a night, as the step does, of what it found."""
        standing = self.session.standing().corrections.get(ITEM)
        said = msgspec.to_builtins(standing) if standing else {}
        before = decisions.before(self.folder)
        entries = said.get("frames") or []
        rulings = decisions.rulings(geometry, entries, before, SHA256)
        made = corrected(geometry, said, Facts(), single=True, before=before, sha256=SHA256)
        detail = {
            "settings": {"review_below": 0.8},
            "corrections": said or None,
            "decisions": decisions.recorded(MASTER, rulings),
            "digests": {MASTER: SHA256},
        }
        record = ItemGeometry(ITEM, (made,), {"detail": detail})
        record_files.write(self.folder / "geometry.json", "geometry", record.as_dict())

    def save(self, *frames: dict[str, Any]) -> None:
        """Save decisions as the page sends them."""
        entry = {"item": ITEM, "by": "op-07", "when": "2026-03-18T08:55:00Z", "note": None}
        known = self.session.describe()["corrections"]
        self.session.save({"corrections": [{**entry, "frames": list(frames)}], "seen": known})

    def score(self, capsys: pytest.CaptureFixture[str]) -> str:
        own = ["--directory", str(self.root), "--configfile", str(self.root / "config.yaml")]
        assert score_frames.main(own) == 0
        return capsys.readouterr().out


@pytest.fixture
def studio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(tmp_path, monkeypatch)


def counts(text: str) -> dict[str, int]:
    line = next(line for line in text.splitlines() if line.startswith("strip_135"))
    names = score_frames._COLUMNS[1:]
    return {k: n for k, n in zip(names, map(int, line.split()[1:]), strict=True) if n}


FOUND = frame(1, 100, 0.99), frame(2, 1100, 0.99), frame(3, 2100, 0.5)
# Drawn 5 % of the diagonal away from what was found.
DRAWN = [[1155.0, 100.0], [2055.0, 100.0], [2055.0, 700.0], [1155.0, 700.0]]
DECIDED = (
    {"master": MASTER, "frame": 1, "accept": True},
    {"master": MASTER, "frame": 2, "corners": DRAWN},
    {"master": MASTER, "frame": 3, "accept": True},
)
RIGHT = {
    "masters": 1, "decided": 3, "right, unmarked": 1, "right, marked": 1, "wrong, unmarked": 1,
}  # fmt: skip


def test_what_was_saved_counts_from_the_next_night_on(studio: Studio, capsys: Any) -> None:
    studio.night(seen(*FOUND))
    studio.save(*DECIDED)
    waiting = studio.score(capsys)
    assert ITEM in waiting
    assert "strip_135" not in waiting
    studio.night(seen(*FOUND))
    assert counts(studio.score(capsys)) == RIGHT


def test_decisions_follow_their_frames_where_a_night_numbers_them_anew(
    studio: Studio, capsys: Any
) -> None:
    """A later version finds one more frame at the film's beginning: the second is the third now."""
    studio.night(seen(*FOUND))
    studio.save(*DECIDED)
    studio.night(seen(*FOUND))
    later = [replace(one, index=one.index + 1) for one in FOUND]
    studio.night(seen(replace(FOUND[0], index=1, corners=frame(1, -850, 0.99).corners), *later))
    found = counts(studio.score(capsys))
    assert {name: found.get(name) for name in RIGHT} == RIGHT


def test_the_scores_are_of_what_was_found_and_not_of_what_was_drawn(
    studio: Studio, capsys: Any
) -> None:
    studio.night(seen(*FOUND))
    studio.save(*DECIDED)
    for _ in range(3):  # nights on do not make a wrong frame a right one
        studio.night(seen(*FOUND))
    text = studio.score(capsys)
    assert counts(text) == RIGHT
    assert f"{ITEM}, {MASTER}, frame 2: corners 5.1 % of the diagonal off" in text


def test_what_a_person_wrote_by_hand_counts_alike(studio: Studio, capsys: Any) -> None:
    studio.night(seen(*FOUND))
    said = corrections.check(
        {"corrections": [{"item": ITEM, "by": "op-07", "frames": list(DECIDED)}]}, "test"
    )
    (studio.batch / corrections.FILE_NAME).write_text(corrections.as_text(said.corrections))
    studio.night(seen(*FOUND))
    assert counts(studio.score(capsys)) == RIGHT
