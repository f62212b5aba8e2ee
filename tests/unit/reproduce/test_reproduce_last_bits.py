"""A picture that differs in last bits is told from another picture, and neither from none."""

from __future__ import annotations

import json
import platform
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips

import reproduce_delivery
from glassine.masters import pixels
from glassine.render import step as render
from glassine.reproduce import last_bits
from glassine.reproduce import step as reproduce
from makers import deliveries

ITEM = deliveries.ITEM
MORE = {"render": {"alternates": ["webp"], "crop_tiff": "rendered"}, "iiif": {"form": "pyramid"}}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return _night(tmp_path_factory.mktemp("night"))


@pytest.fixture(scope="module")
def made_more(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return _night(tmp_path_factory.mktemp("more"), more=MORE)


def _night(root: Path, **options: Any) -> Path:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1773800000")
        deliveries.night(root, "mets", **options)
    return root / "deliveries" / "b1"


@pytest.fixture
def copy(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "b1")
    return tmp_path / "b1"


def resampled(monkeypatch: pytest.MonkeyPatch, change: Callable[[Any], Any]) -> None:
    """Let resampling of masters (16 bits) come out with `change` from now on."""
    real = pixels.warp
    monkeypatch.setattr(render.pixels, "warp", lambda *given: change(real(*given)))


def last_bit(block: Any) -> Any:
    """One sample in some hundred is one code of 16 bits off, as with fused products."""
    found = block.copy()
    found.reshape(-1)[::397] ^= 1
    return found


def speck(block: Any) -> Any:
    """A faint speck of 24 x 24 px: few pixels, ten levels of 255."""
    found = block.copy()
    found[100:124, 100:124] -= 2560
    return found


def codes(path: Path, work: Path) -> set[str]:
    return {finding.code for finding in reproduce.reproduce(path, work)}


def test_last_bits_are_called_so_and_have_their_own_exit_code(
    made: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    resampled(monkeypatch, last_bit)
    found = reproduce.reproduce(made, tmp_path / "work")
    assert {finding.code for finding in found} == {"reproduce.last_bits"}
    assert reproduce_delivery.main([str(made)]) == 3
    told = capsys.readouterr().out
    assert "The same picture comes out, but for last bits: samples differ by " in told
    assert "of 255 levels at most" in told
    assert "every derivative comes out the same" not in told


@pytest.mark.parametrize(
    "change",
    [
        lambda block: np.roll(block, 1, axis=1),
        lambda block: block // 2 + block // 4,
        lambda block: block ^ 0x0800,  # 8 levels of 255
        lambda block: np.where(np.arange(block.shape[1])[None, :, None] < 20, 0, block),
        speck,
    ],
    ids=["moved by a pixel", "darker", "eight levels", "a strip at the edge is black", "a speck"],
)
def test_another_picture_is_called_so(
    change: Callable[[Any], Any], made: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    resampled(monkeypatch, lambda block: np.asarray(change(block), block.dtype))
    found = codes(made, tmp_path / "work")
    assert "reproduce.differs" in found
    assert reproduce_delivery.main([str(made)]) == 1


def test_other_kinds_of_pictures_too(
    made_more: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    assert reproduce.reproduce(made_more, tmp_path / "same") == []
    resampled(monkeypatch, last_bit)
    found = reproduce.reproduce(made_more, tmp_path / "work")
    codes_of = {Path(finding.path).suffix: finding.code for finding in found}
    # An encoder of WebP decides for whole blocks by single samples: 24 levels in 13 % of the pixels
    # were measured. It may be called another picture, which is the safe side; or the last bits are
    # lost in it, and its bytes are the same.
    webp = codes_of.pop(".webp", None)
    assert list(made_more.rglob("*.webp"))
    assert set(codes_of.values()) == {"reproduce.last_bits"} and ".tif" in codes_of
    assert webp in (None, "reproduce.last_bits", "reproduce.differs")


def test_last_bits_excuse_nothing_else(
    copy: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A delivered file that is not the one its package records is damaged, however little."""
    path = copy / "data" / ITEM / "access" / "PEH-0001_access.jpg"
    content = bytearray(path.read_bytes())
    content[-100] ^= 1
    path.write_bytes(content)
    resampled(monkeypatch, last_bit)
    found = codes(copy, tmp_path / "work")
    assert "reproduce.differs" in found
    assert "reproduce.last_bits" not in found


def test_another_title_is_no_last_bit(
    copy: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    path = copy / "data" / ITEM / "metadata" / "embedded.json"
    record = json.loads(path.read_text("utf-8"))
    record["event"]["detail"]["catalogue"]["title"] = "Another"
    path.write_text(json.dumps(record), "utf-8")
    resampled(monkeypatch, last_bit)
    assert "reproduce.differs" in codes(copy, tmp_path / "work")


def test_another_tone_is_no_last_bit(
    copy: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    path = copy / "data" / ITEM / "metadata" / "render.json"
    record = json.loads(path.read_text("utf-8"))
    record["frames"][0]["tone"]["exposure"] += 0.000001
    path.write_text(json.dumps(record), "utf-8")
    resampled(monkeypatch, last_bit)
    assert "reproduce.parameters" in codes(copy, tmp_path / "work")


def test_a_processor_of_another_kind_is_told_as_a_note(copy: Path, tmp_path: Path) -> None:
    path = copy / "data" / ITEM / "metadata" / "render.json"
    record = json.loads(path.read_text("utf-8"))
    assert record["event"]["processor"] == platform.machine()
    record["event"]["processor"] = "riscv64"
    path.write_text(json.dumps(record), "utf-8")
    (finding,) = reproduce.reproduce(copy, tmp_path / "work")
    assert (finding.code, finding.severity) == ("reproduce.processor", "note")
    assert "riscv64" in finding.what


def test_the_record_names_the_processor(made: Path) -> None:
    text = (made / "data" / ITEM / "METS.xml").read_text("utf-8")
    assert f"hardware/{platform.machine()}" in text


def test_pictures_of_other_sizes_or_kinds_are_no_pair(tmp_path: Path) -> None:
    grey = np.full((40, 50), 100, np.uint8)
    for name, array in (("a", grey), ("b", grey[:, :-1]), ("c", grey.astype(np.uint16))):
        pyvips.Image.new_from_array(array).tiffsave(str(tmp_path / f"{name}.tif"))
    (tmp_path / "broken.tif").write_bytes(b"II*\0")
    (tmp_path / "a.json").write_text("{}")
    at = {path.name: path for path in tmp_path.iterdir()}
    assert last_bits.between(at["a.tif"], at["a.tif"], {}) == last_bits.Difference(0.0, 0.0, 0.0)
    for other in ("b.tif", "c.tif", "broken.tif"):
        assert last_bits.between(at["a.tif"], at[other], {}) is None
    assert last_bits.between(at["a.json"], at["a.json"], {}) is None
