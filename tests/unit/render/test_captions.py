"""Captions of sets: read back as they stand, never over the picture unless asked, never garbled."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips
from lxml import etree

from glassine.base import captions as texts
from glassine.base import files, settings
from glassine.base.errors import GlassineError
from glassine.night import agreement, due
from glassine.render import captions
from glassine.render.given import PictureSet
from glassine.reproduce import step as reproduce
from makers import deliveries, made_items

CAPTION = "{item}[ · {title}][, {creator}]"
SETS: list[dict[str, Any]] = [
    {"name": "plain", "form": "jpeg", "long_edge": 300, "quality": 95},
    {"name": "below", "form": "jpeg", "long_edge": 300, "quality": 95, "caption": CAPTION},
    {"name": "web", "form": "webp", "long_edge": 300, "caption": "{item} {title}"},
]


@pytest.fixture(autouse=True, scope="module")
def read_once() -> Iterator[None]:
    """The schema of the settings is read once: this is not what is tried here."""
    read = settings.schema()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(settings, "schema", lambda: read)
        yield


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("captions")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1773800000")
        deliveries.night(folder, "mets", more={"render": {"sets": SETS, "access_long_edge": 300}})
    return folder


def entries(root: Path) -> dict[str, dict[str, Any]]:
    (frame,) = files.read_json(made_items.item_dir_of(root) / "render" / "render.json")["frames"]
    return {each["set"]: each for each in frame["alternates"]}


def image(root: Path, name: str) -> np.ndarray:
    (folder,) = root.glob("deliveries/*/data/PEH-0001/alternates")
    path = folder / entries(root)[name]["name"]
    return np.asarray(pyvips.Image.new_from_file(str(path)).numpy()).astype(int)


def test_the_picture_above_the_strip_is_the_picture_without_one(root: Path) -> None:
    plain, below = image(root, "plain"), image(root, "below")
    rows = entries(root)["below"]["caption"]["rows"]
    assert below.shape[0] == plain.shape[0] + rows and below.shape[1] == plain.shape[1]
    # All but the last rows of blocks (of 8 px), which the encoder makes of both.
    whole = plain.shape[0] // 8 * 8
    assert np.array_equal(plain[:whole], below[:whole])
    strip = below[-rows + 8 :]
    assert strip.min() < 90 and np.median(strip) > 250


def test_the_record_tells_the_text_and_mix_that_it_was_added(root: Path) -> None:
    told = entries(root)["below"]
    assert told["caption"]["text"].startswith("PEH-0001 · ")
    assert told["caption"]["place"] == "below" and "caption" not in entries(root)["plain"]
    (path,) = root.glob("deliveries/*/data/PEH-0001/METS.xml")
    actions = [
        each.text
        for each in etree.parse(str(path)).iter("{http://www.loc.gov/mix/v20}processingActions")
    ]
    rows = told["caption"]["rows"]
    assert sum(f"caption added below the picture ({rows} rows)" in each for each in actions) >= 1


def test_it_comes_out_of_the_delivery_again(root: Path, tmp_path: Path) -> None:
    assert reproduce.reproduce(root / "deliveries" / "b1", tmp_path / "work") == []


def a_set(**more: Any) -> PictureSet:
    return PictureSet(name="web", form="jpeg", **more)


def put(text: str, width: int = 600, height: int = 400, **more: Any) -> tuple[Any, Any]:
    picture = np.full((height, width, 3), 77, np.uint8)
    return captions.put(picture, a_set(caption="x", **more), text)


def test_over_the_picture_only_where_asked() -> None:
    below, told = put("PEH-0001")
    assert (below[:400] == 77).all() and below.shape[0] == 400 + told.rows
    over, told = put("PEH-0001", caption_place="over")
    assert over.shape[0] == 400 and (over[: -told.rows] == 77).all()


def test_letters_are_high_enough_to_be_read_and_grow_with_the_picture() -> None:
    """The capital H is 0.7 of the size: 14 px give ten rows, as screens show small print."""
    for width, least in ((300, 9), (3000, 35)):
        shown, told = put("HHH", width, width // 2)
        ink = (shown[-told.rows :, :, 0] < 128).any(axis=1)
        assert ink.sum() >= least


@pytest.mark.parametrize("text", ["Hafen", "Häfen", "Őrség", "Гавань", "港の船", "Λιμήν"])
def test_each_letter_has_a_picture_of_its_own(text: str) -> None:
    """A missing one would be drawn as another's: all letters of one size are told apart."""
    assert len({captions._drawn(each) for each in text}) == len({*text})
    put(text)


@pytest.mark.parametrize(
    "text",
    ["مرسى", "נמל", "बंदरगाह", "ท่าเรือ", "boat 😀", "a\u0301\u0327\u0334", "\ue000x", "\U0003ffff"],
)
def test_what_cannot_be_drawn_rightly_is_refused_in_words(text: str) -> None:
    with pytest.raises(GlassineError) as problem:
        put(text)
    (found,) = problem.value.findings
    assert found.code == "render.caption" and "U+" in found.what


def test_a_long_text_is_cut_in_sight_and_that_is_told() -> None:
    long = " ".join(["harbour"] * 80)
    shown, told = put(long)
    assert told.cut and told.rows < 100
    for narrow in ("x" * 500, "港" * 300):
        assert put(narrow)[1].cut
    assert not put("harbour wall with boats and the crane, seen from the east quay " * 2)[1].cut
    # Nothing runs over the right edge: the margin stays white.
    assert (shown[-told.rows :, -6:] == 255).all()


def test_a_picture_that_is_too_small_is_refused_in_words() -> None:
    with pytest.raises(GlassineError) as problem:
        put("PEH-0001", 16, 12)
    assert problem.value.findings[0].code == "render.caption_room"


def test_facts_are_escaped_and_empty_ones_take_their_words_along() -> None:
    template = "{item}[ · {title}][, {date}]"
    assert texts.filled(template, {"item": "P-1", "title": "A\nB"}) == "P-1 · A B"
    assert texts.filled(template, {"item": "P-1", "date": "1912"}) == "P-1, 1912"
    hostile = texts.filled("{title}", {"title": "a\x1b[2J\u202ebc {item} [x] <b>&amp;"})
    assert hostile == "a\\x1b[2J\\u202ebc {item} [x] <b>&amp;"
    assert len(texts.filled("{title}", {"title": "x" * 20000})) == texts.MOST_CHARACTERS
    assert texts.filled("{title}", {"title": "e\u0301"}) == "\u00e9"


@pytest.mark.parametrize(
    "template",
    ["{item", "{who}", "[{title}", "a\nb", "{item}]", "[[{title}]]", " ", "{}", "{item!r}"],
)
def test_a_template_that_means_nothing_is_refused_before_the_night(template: str) -> None:
    assert texts.problem_of(template)
    asked = {"name": "a", "form": "jpeg", "caption": template}
    config = settings.load({"render": {"sets": [asked]}})
    codes = [each.code for each in agreement._check_naming(config, Path())]
    assert codes == ["settings.sets"]


def test_what_a_caption_does_not_agree_with_is_refused() -> None:
    def codes(**more: Any) -> list[str]:
        config = settings.load({"render": {"sets": [{"name": "a", "form": "tiff", **more}]}})
        return [each.code for each in agreement._check_naming(config, Path())]

    assert codes(caption="{item}") == []
    assert codes(caption="{item}", bits=16) == ["settings.sets"]
    assert codes(caption_place="over") == ["settings.sets"]


def test_only_facts_that_are_shown_make_pictures_anew() -> None:
    def given(title: str, creator: str, sets: list[dict[str, Any]]) -> Any:
        row = {"title": title, "creators": [{"name": creator}], "rights": {}}
        return texts.facts_of(row, {"render": {"sets": sets}, "rights": {}})

    shown = [{"name": "a", "form": "jpeg", "caption": "{title}"}]
    assert given("Quay", "A", shown) == given("Quay", "B", shown) == {"title": "Quay"}
    assert given("Quay", "A", shown) != given("Pier", "A", shown)
    assert given("Quay", "A", [{"name": "a", "form": "jpeg"}]) == {}
    assert given("Quay", "A", [{"name": "a", "form": "jpeg", "caption": "{item}"}]) == {}


def test_the_step_is_given_them_and_nothing_new_where_no_caption_asks() -> None:
    master = {"path": "P.tif", "part": None, "sequence": None, "bytes": 1, "mtime_ns": 1}
    row = {"item": "P", "row": 2, "title": "Quay", "rights": {}}
    entry = {
        "item": "P",
        "state": "ready",
        "masters": [{**master, "expected": {}, "facts": {"kind": "print"}}],
        "catalogue": row,
        "corrections": None,
        "findings": [],
    }
    rows = {"read": 1, "without_master": [], "catalogue": "catalogue.csv"}
    intake = {"batch": "b1", "title": "b1", "facts": {}, "notes": [], "rows": rows}
    batch = due.Batch({**intake, "other_files": [], "targets": [], "items": [entry]})

    def render(*sets: dict[str, Any]) -> dict[str, Any]:
        config = settings.load({"render": {"sets": [*sets]}})
        (one,) = [s for s in due.steps_given(batch, "P", config) if s["step"] == "render"]
        return dict(one)

    assert render({"name": "a", "form": "jpeg", "caption": "{title}"})["caption"] == {
        "title": "Quay"
    }
    assert "caption" not in render({"name": "a", "form": "jpeg"})


def test_the_same_pixels_whatever_the_processor_has() -> None:
    """The library's choice of instructions is switched off from outside, as on an old processor."""
    code = (
        "import hashlib, numpy as np; from glassine.render import captions; "
        "from glassine.render.given import PictureSet; "
        "made = captions.put(np.zeros((300, 900, 3), np.uint8), "
        "PictureSet(name='a', form='jpeg', caption='x'), 'PEH-0001 Häfen, Гавань 港 1912')[0]; "
        "print(hashlib.sha256(made.tobytes()).hexdigest())"
    )
    seen = set()
    for disabled in ("", "AVX512-SKX,AVX2,AVX,FP16,FMA3,SSE4_2,SSE4_1"):
        env = {"PYTHONPATH": str(settings.PROJECT / "scripts"), "OPENCV_CPU_DISABLE": disabled}
        done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        seen.add(done.stdout)
    assert len(seen) == 1
