"""A delivered package makes its own derivatives again; what was altered since does not."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import reproduce_delivery
from glassine.deliver import bag, validation
from glassine.reproduce import step as reproduce
from makers import deliveries

ITEM = deliveries.ITEM


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("night")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1773800000")
        deliveries.night(root, "mets")
    return root / "deliveries" / "b1"


@pytest.fixture
def copy(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "b1")
    return tmp_path / "b1"


def codes(path: Path, work: Path) -> set[str]:
    return {finding.code for finding in reproduce.reproduce(path, work)}


def test_every_byte_comes_out_again(
    copy: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert bag.validate(copy) == []
    before = {path: path.read_bytes() for path in copy.rglob("*") if path.is_file()}
    assert reproduce.reproduce(copy, tmp_path / "work") == []
    assert {path: path.read_bytes() for path in copy.rglob("*") if path.is_file()} == before
    assert reproduce_delivery.main([str(copy)]) == 0
    assert "comes out the same" in capsys.readouterr().out


@pytest.mark.parametrize("form", ["tar", "zip"])
def test_an_archive(form: str, copy: Path, tmp_path: Path) -> None:
    path = Path(shutil.make_archive(str(tmp_path / "b1"), form, copy.parent, copy.name))
    assert reproduce.reproduce(path, tmp_path / "work") == []
    assert not (tmp_path / "work" / ".unpacked").exists()


@pytest.mark.parametrize(
    ("profile", "form"), [("mets", "folder"), ("eark", "tar"), ("ocfl", "zip")]
)
def test_odd_names_come_through_whole(
    profile: str, form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773800000")
    name = "roll 3/Ævø, quay #1 + (2) & 'é' ;~.tif"
    deliveries.night(tmp_path, profile, form, name)
    made = tmp_path / "deliveries" / {"folder": "b1", "tar": "b1.tar", "zip": "b1.zip"}[form]
    assert validation.check(made) == []
    assert reproduce.reproduce(made, tmp_path / "work") == []


def test_one_package_alone(copy: Path, tmp_path: Path) -> None:
    assert reproduce.reproduce(copy / "data" / ITEM, tmp_path / "work") == []


def _flip(path: Path, at: int) -> None:
    content = bytearray(path.read_bytes())
    content[at] ^= 1
    path.write_bytes(content)


def _change(name: str, *keys: str | int, value: Any) -> Callable[[Path], None]:
    def change(root: Path) -> None:
        path = root / "metadata" / f"{name}.json"
        record = json.loads(path.read_text("utf-8"))
        place = record
        for key in keys[:-1]:
            place = place[key]
        assert place[keys[-1]] != value
        place[keys[-1]] = value
        path.write_text(json.dumps(record), "utf-8")

    return change


SETTINGS = ("event", "detail", "settings")
ALTERED: dict[str, tuple[Callable[[Path], object], set[str]]] = {
    "a bit of the master": (
        lambda root: _flip(root / "masters/PEH-0001.tif", 100_000),
        {"reproduce.master"},
    ),
    "a bit of the access image": (
        lambda root: _flip(root / "access/PEH-0001_access.jpg", -100),
        {"reproduce.differs"},
    ),
    "a bit of a tile": (
        lambda root: _flip(next((root / "iiif").rglob("default.jpg")), -100),
        {"reproduce.differs"},
    ),
    "a corner by a tenth of a pixel": (
        _change("geometry", "masters", 0, "frames", 0, "corners", 0, 0, value=50.4),
        {"reproduce.differs", "reproduce.parameters"},
    ),
    "the polarity": (
        _change("geometry", "masters", 0, "frames", 0, "polarity", value="positive"),
        {"reproduce.differs", "reproduce.parameters"},
    ),
    "the quality of the encoding": (
        _change("render", *SETTINGS, "render", "access_quality", value=71),
        {"reproduce.differs", "reproduce.parameters"},
    ),
    "the title": (
        _change("embedded", "event", "detail", "catalogue", "title", value="Another"),
        {"reproduce.differs", "reproduce.parameters"},
    ),
    "a noted digest": (
        _change("embedded", "files", 0, "sha256", value="0" * 64),
        {"reproduce.parameters"},
    ),
    "a thumbnail taken away": (
        lambda root: (root / "thumbs/PEH-0001_thumb.jpg").unlink(),
        {"reproduce.missing"},
    ),
    "a picture put in": (
        lambda root: (root / "access/more.jpg").write_bytes(b"more"),
        {"reproduce.more"},
    ),
    "the settings taken away": (
        _change("render", "event", "detail", value={}),
        {"reproduce.records"},
    ),
}


@pytest.mark.parametrize("kind", ALTERED)
def test_what_was_altered_does_not_come_out(kind: str, copy: Path, tmp_path: Path) -> None:
    change, expected = ALTERED[kind]
    change(copy / "data" / ITEM)
    assert codes(copy, tmp_path / "work") == expected


def test_command_says_what_differs(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _flip(copy / "data" / ITEM / "access/PEH-0001_access.jpg", -100)
    assert reproduce_delivery.main([str(copy)]) == 1
    assert "PEH-0001_access.jpg" in capsys.readouterr().out
    assert reproduce_delivery.main([str(copy / "none")]) == 2


def test_other_software_is_told_as_a_note(copy: Path, tmp_path: Path) -> None:
    _change("render", "event", "software", "numpy", value="0.9")(copy / "data" / ITEM)
    (finding,) = reproduce.reproduce(copy, tmp_path / "work")
    assert (finding.code, finding.severity) == ("reproduce.software", "note")


def test_what_is_no_package(tmp_path: Path) -> None:
    assert codes(tmp_path / "none", tmp_path / "work") == {"bag.unreadable"}
    assert codes(tmp_path, tmp_path / "work") == {"reproduce.layout"}
    (tmp_path / "bagit.txt").write_text(bag.DECLARATION)
    assert codes(tmp_path, tmp_path / "work") == {"reproduce.empty"}
