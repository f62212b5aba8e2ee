"""Several people decide at the same time, the server dies in between: nothing is lost or doubled."""

from __future__ import annotations

import random
import threading
from pathlib import Path
from typing import Any

import msgspec
import pytest

from glassine.base import corrections, decisions, files
from glassine.review.session import Session
from makers import make_results

BATCH = make_results.BATCH


@pytest.fixture(scope="module")
def intake(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    root = tmp_path_factory.mktemp("intake")
    make_results.write_batch(root, 6, pictures=False)
    return (root / "results" / BATCH / "intake.json").read_bytes()


@pytest.fixture
def studio(tmp_path: Path, intake: bytes) -> Path:
    (tmp_path / "results").mkdir()
    (tmp_path / "results" / "intake.json").write_bytes(intake)
    (tmp_path / "masters").mkdir()
    return tmp_path


def session_in(studio: Path) -> Session:
    return Session(BATCH, studio / "results", studio / "masters", writable=True)


def entry(item: str, *frames: dict[str, Any], note: str | None = None) -> dict[str, Any]:
    return {"item": item, "note": note, "frames": list(frames)}


def frame(number: int, **said: Any) -> dict[str, Any]:
    return {"master": "m.tif", "frame": number, **(said or {"accept": True})}


def body(asked: dict[str, Any], seen: Any = None, **more: Any) -> dict[str, Any]:
    return {"corrections": [asked], "seen": {asked["item"]: seen}, **more}


def standing(studio: Path) -> dict[str, Any]:
    read = corrections.read(studio / "masters" / "corrections.yaml").corrections
    return dict(msgspec.to_builtins(read))


def journal(studio: Path) -> list[decisions.Decision]:
    return list(decisions.read(studio / "results" / decisions.FILE_NAME))


class Reviewer:
    """Decides as a page does: with what it knows, and what the answers tell it."""

    def __init__(self, role: str) -> None:
        self.role = role
        self.known: dict[str, Any] = {}

    def decide(self, session: Session, item: str, *frames: dict[str, Any]) -> dict[str, Any]:
        base = self.known.get(item) or {"frames": []}
        asked = entry(item, *base["frames"], *frames)
        answer = session.save(body(asked, self.known.get(item)), self.role)
        self.known = answer["corrections"]
        return answer


def test_of_many_at_once_none_is_lost_and_none_doubled(studio: Path) -> None:
    sessions = [session_in(studio), session_in(studio)]  # two servers over one batch
    places = [(f"PEH-{item:04d}", number) for item in range(1, 7) for number in range(1, 6)]
    random.Random(3).shuffle(places)

    def work(at: int) -> None:
        reviewer = Reviewer(f"op-{at:02d}")
        for item, number in places[at::6]:
            assert reviewer.decide(sessions[at % 2], item, frame(number))["saved"]

    threads = [threading.Thread(target=work, args=(at,)) for at in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    found = [
        (item, each["frame"]) for item, said in standing(studio).items() for each in said["frames"]
    ]
    assert sorted(found) == sorted(places)
    noted = {(each.item, each.part.frame): each.by for each in journal(studio)}
    assert len(journal(studio)) == len(places)
    assert noted == {place: f"op-{at % 6:02d}" for at, place in enumerate(places)}


def test_the_same_frame_decided_otherwise_is_refused_to_the_later_one(studio: Path) -> None:
    session = session_in(studio)
    first, second = Reviewer("op-07"), Reviewer("op-08")
    assert first.decide(session, "PEH-0001", frame(1, rotate=90))["saved"]
    late = session.save(body(entry("PEH-0001", frame(1, rotate=180))), "op-08")
    assert (late["saved"], late["conflicts"]) == (False, ["PEH-0001"])
    assert standing(studio)["PEH-0001"]["frames"][0]["rotate"] == 90
    assert [each.by for each in journal(studio)] == ["op-07"]
    assert second.decide(session, "PEH-0002", frame(1))["saved"]


def test_other_items_of_a_refused_save_are_saved(studio: Path) -> None:
    session = session_in(studio)
    Reviewer("op-07").decide(session, "PEH-0001", frame(1, rotate=90))
    asked = [entry("PEH-0001", frame(1, rotate=180)), entry("PEH-0002", frame(1))]
    answer = session.save({"corrections": asked, "seen": {}}, "op-08")
    assert answer["conflicts"] == ["PEH-0001"]
    assert set(standing(studio)) == {"PEH-0001", "PEH-0002"}


@pytest.mark.parametrize("dies", ["before the file", "after the file"])
def test_what_is_sent_again_after_the_server_died_stands_once(
    studio: Path, monkeypatch: pytest.MonkeyPatch, dies: str
) -> None:
    """Between the journal and the file, and between the file and the answer; another person
    decides in between."""
    write = files.write_text

    def dying(path: Path, text: str) -> None:
        if dies == "after the file":
            write(path, text)
        raise KeyboardInterrupt

    with monkeypatch.context() as patched, pytest.raises(KeyboardInterrupt):
        patched.setattr("glassine.review.session.files.write_text", dying)
        session_in(studio).save(body(entry("PEH-0001", frame(1))), "op-07")
    assert Reviewer("op-08").decide(session_in(studio), "PEH-0001", frame(2))["saved"]
    again = session_in(studio).save(body(entry("PEH-0001", frame(1))), "op-07")
    assert again["saved"]
    assert sorted(each["frame"] for each in standing(studio)["PEH-0001"]["frames"]) == [1, 2]
    assert sorted((each.part.frame, each.by) for each in journal(studio)) == [
        (1, "op-07"),
        (2, "op-08"),
    ]


def test_what_a_person_takes_back_leaves_what_another_decided(studio: Path) -> None:
    session = session_in(studio)
    session.save(body(entry("PEH-0001", frame(1), frame(2))), "op-07")
    seen = standing(studio)["PEH-0001"]
    session.save(body(entry("PEH-0001", frame(1), frame(2), note="dust"), seen), "op-08")
    session.save(body(entry("PEH-0001", frame(1)), seen), "op-07")
    left = standing(studio)["PEH-0001"]
    assert (left["note"], [each["frame"] for each in left["frames"]]) == ("dust", [1])


def test_a_file_that_another_program_wrote_is_read_again(studio: Path) -> None:
    session = session_in(studio)
    session.save(body(entry("PEH-0001", frame(1))), "op-07")
    text = session.target.read_text("utf-8").replace("accept: true", "rotate: 90")
    files.write_text(session.target, text)
    told = session.describe()
    assert told["corrections"]["PEH-0001"]["frames"][0]["rotate"] == 90


def test_only_what_changed_is_told_to_who_knows_the_rest(studio: Path) -> None:
    session = session_in(studio)
    session.save(body(entry("PEH-0001", frame(1))), "op-07")
    since = session.describe()["revision"]
    answer = session.save(body(entry("PEH-0002", frame(1)), since=since), "op-07")
    assert set(answer["changes"]) == {"PEH-0002"} and "corrections" not in answer
    session.save(body(entry("PEH-0001"), standing(studio)["PEH-0001"]), "op-07")
    assert session.describe(answer["revision"])["changes"] == {"PEH-0001": None}
    for wrong in (
        "",
        "-",
        "x-1",
        f"{session.epoch}-x",
        f"{session.epoch}--1",
        f"{session.epoch}-٣",
    ):
        assert set(session.describe(wrong)["corrections"]) == {"PEH-0002"}


def test_the_journal_goes_on_after_a_line_that_was_broken_off(studio: Path) -> None:
    session = session_in(studio)
    session.save(body(entry("PEH-0001", frame(1)), seconds={"PEH-0001": 2.5}), "op-07")
    with (studio / "results" / decisions.FILE_NAME).open("ab") as lines:
        lines.write(b'{"item": "PEH-00')
    session_in(studio).save(body(entry("PEH-0002", frame(1)), seconds={"PEH-0002": 1e9}), "op-08")
    assert [(each.item, each.seconds) for each in journal(studio)] == [
        ("PEH-0001", 2.5),
        ("PEH-0002", None),
    ]


def test_a_file_that_no_run_would_read_is_not_written(
    studio: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    session = session_in(studio)
    session.save(body(entry("PEH-0001", frame(1))), "op-07")
    before = session.target.read_bytes()
    monkeypatch.setattr("glassine.review.session.settings.MAX_YAML_BYTES", len(before) + 5)
    with pytest.raises(Exception, match="no run reads"):
        session.save(body(entry("PEH-0002", frame(1))), "op-07")
    assert session.target.read_bytes() == before
    assert len(journal(studio)) == 1


def test_entries_written_one_by_one_are_the_text_of_the_whole() -> None:
    """The text must not depend on which entries were written before."""
    loaded = {
        "corrections": [
            {"item": "PEH-0001", "note": "äöü: {x}", "frames": [{"frame": 1, "rotate": 90}]},
            {"item": "PEH-0002", "by": "op-07", "when": "2026-03-18T08:55:00Z", "note": "x"},
        ]
    }
    decided = corrections.check(loaded, "c").corrections
    texts: corrections.Texts = {}
    corrections.as_text({"PEH-0002": decided["PEH-0002"]}, (), texts)
    assert corrections.as_text(decided, (), texts) == corrections.as_text(decided)
    assert (
        corrections.check(
            __import__("yaml").safe_load(corrections.as_text(decided)), "c"
        ).corrections
        == decided
    )
