"""What is found does not hang on a resolution that nobody measured: every kind, every wrong tag.

72, 96, 150, 240 and 300 are what exporting software writes by default (common practice, no
source); ten times too much or too little is a slip of a digit.
"""

from __future__ import annotations

import functools

import numpy as np
import pytest

from glassine.base.model import Facts
from glassine.base.records.parts import Resolution
from glassine.locate import locate_array
from glassine.locate.step import ppi_of
from makers.film import make_scene

# Width of the drawn master, px.
KINDS = {
    "frame_135": 600,
    "mounted_slide": 600,
    "sheet": 700,
    "plate": 700,
    "lantern": 600,
    "strip_135": 1200,
    "strip_120": 900,
    "cut_frames": 800,
    "print": 700,
}
TAGS = {
    "missing": None,
    "right": 1.0,
    "72": 72,
    "96": 96,
    "150": 150,
    "240": 240,
    "300": 300,
    "600": 600,
    "ten times": 10.0,
    "a tenth": 0.1,
}


# nominal_ppi goes the same way as a tag, but for the words: four tags of it are enough.
NOMINAL = ("72", "300", "ten times", "a tenth")
# By what tells the resolution and whether the kind is stated: the tags that every run tries.
TRIED = {
    ("tag", False): ("missing", "72", "300", "ten times", "a tenth"),
    ("tag", True): ("300", "ten times"),
    ("nominal_ppi", False): ("72", "a tenth"),
    ("nominal_ppi", True): ("300",),
}


@functools.cache
def scene(kind):
    return make_scene(kind, seed=21, width=KINDS[kind], gamma=1.0)


def tag_of(tag, right):
    value = TAGS[tag]
    return value * right if isinstance(value, float) else value


@functools.cache
def look(kind, stated_kind, tag_ppi, nominal_ppi=None, size_mm=None):
    """Return what is found on a drawn master of `kind`."""
    image, _ = scene(kind)
    pixels = image.squeeze()
    facts = Facts(encoding="linear", kind=stated_kind, nominal_ppi=nominal_ppi, size_mm=size_mm)
    return locate_array(
        pixels,
        1,
        lambda left, top, w, h: pixels[top : top + h, left : left + w],
        facts,
        tag_ppi,
        {},
    )


def elsewhere(frame, others):
    """Whether a frame lies more than 0.1 % of its diagonal from all others."""
    corners = np.array(frame.corners)
    near = 0.001 * np.hypot(*(corners[2] - corners[0]))
    far = [np.hypot(*(np.array(other.corners) - corners).T).max() for other in others]
    return not far or min(far) > near


def silently_wrong(found, right):
    """Return what differs from `right` although nothing is for review."""
    sure = [frame for frame in found.frames if frame.state == "ok"]
    wrong = [f"frame {frame.index} elsewhere" for frame in sure if elsewhere(frame, right.frames)]
    if len(sure) == len(found.frames) and len(found.frames) != len(right.frames):
        wrong.append(f"{len(found.frames)} frames instead of {len(right.frames)}")
    wrong += [
        f"frame {frame.index} {frame.polarity} {frame.process}"
        for frame in sure
        for other in right.frames
        if not elsewhere(frame, [other])
        and (frame.polarity, frame.process) != (other.polarity, other.process)
    ]
    if found.kind != right.kind and sure and "strip" in found.kind + right.kind:
        wrong.append(f"kind {found.kind}")
    return wrong


def marked_without_words(found):
    return [frame for frame in found.frames if frame.state == "review" and not frame.reasons]


@pytest.mark.parametrize("by", ["tag", "nominal_ppi"])
@pytest.mark.parametrize("stated", [False, True], ids=["kind not stated", "kind stated"])
@pytest.mark.parametrize("kind", KINDS)
def test_no_resolution_makes_other_frames_in_silence(kind, stated, by):
    assert_none_in_silence(kind, stated, by, TRIED[by, stated])


@pytest.mark.long
@pytest.mark.parametrize("by", ["tag", "nominal_ppi"])
@pytest.mark.parametrize("stated", [False, True], ids=["kind not stated", "kind stated"])
@pytest.mark.parametrize("kind", KINDS)
def test_not_one_resolution_makes_other_frames_in_silence(kind, stated, by):
    assert_none_in_silence(kind, stated, by, TAGS if by == "tag" else NOMINAL)


def assert_none_in_silence(kind, stated, by, tags):
    _, truth = scene(kind)
    told = kind if stated else "auto"
    right = look(kind, told, truth["ppi"])
    wrong = {}
    for tag in tags:
        ppi = tag_of(tag, truth["ppi"])
        found = look(kind, told, ppi) if by == "tag" else look(kind, told, None, ppi)
        wrong[tag] = silently_wrong(found, right) + marked_without_words(found)
    assert {tag: what for tag, what in wrong.items() if what} == {}


@pytest.mark.parametrize("stated", [False, True], ids=["kind not stated", "kind stated"])
def test_the_right_resolution_leaves_most_frames_to_no_person(stated):
    """So that the tests of corners, which hold for these alone, hold for something."""
    ok, all_of_them, kinds = 0, 0, set()
    for kind in KINDS:
        _, truth = scene(kind)
        for by in ({"tag_ppi": truth["ppi"]}, {"tag_ppi": None, "nominal_ppi": truth["ppi"]}):
            frames = look(kind, kind if stated else "auto", **by).frames
            ok += sum(frame.state == "ok" for frame in frames)
            all_of_them += len(frames)
            if any(frame.state == "ok" for frame in frames):
                kinds.add(kind)
    assert ok / all_of_them >= 0.9
    assert kinds == set(KINDS)


def test_perforations_win_over_the_tag_and_both_numbers_are_named():
    _, truth = scene("strip_135")
    right, found = look("strip_135", "auto", truth["ppi"]), look("strip_135", "auto", 300)
    assert found.kind == "strip_135"
    assert found.ppi == pytest.approx(truth["ppi"], rel=0.002)
    assert found.ppi_source == "perforations"
    assert len(found.frames) == len(right.frames)
    for frame, other in zip(found.frames, right.frames, strict=True):
        assert not elsewhere(frame, [other])
        assert frame.state == other.state
    (words,) = [note for note in found.notes if "300 ppi" in note]
    assert f"{truth['ppi']:.0f} ppi by its perforations" in words


def test_what_a_person_stated_is_doubted_against_perforations_too():
    _, truth = scene("strip_135")
    wrong = round(truth["ppi"] * 2)
    found = look("strip_135", "strip_135", None, wrong)
    assert found.ppi == pytest.approx(truth["ppi"], rel=0.002)
    assert {frame.state for frame in found.frames} == {"review"}
    assert all(f"{wrong} ppi as batch.yaml states" in " ".join(f.reasons) for f in found.frames)


def test_a_resolution_that_a_person_stated_frees_a_batch_of_wrong_tags():
    _, truth = scene("strip_135")
    found = look("strip_135", "auto", 300, truth["ppi"])
    assert [f.state for f in found.frames] == [
        f.state for f in look("strip_135", "auto", truth["ppi"]).frames
    ]
    assert any("300 ppi as the file's header says is not used" in note for note in found.notes)


def test_a_stated_resolution_that_gives_no_size_is_doubted_where_the_tag_gives_one():
    _, truth = scene("sheet")
    (frame,) = look("sheet", "sheet", truth["ppi"], round(truth["ppi"] / 3)).frames
    assert frame.state == "review"
    assert any("one of both is wrong" in reason for reason in frame.reasons)


def test_film_width_and_mounts_show_the_scale_where_nothing_states_it():
    """Within what film.py says of them: 61.5 mm from memory, mounts within 1 mm of 50."""
    for kind, source in (("strip_120", "film width"), ("mounted_slide", "mount")):
        _, truth = scene(kind)
        for told in ("auto", kind):
            found = look(kind, told, None)
            if (kind, told) == ("mounted_slide", "auto"):
                # Some lantern slides have the same shape.
                assert found.ppi is None
                assert any("mounted or a lantern slide" in note for note in found.notes)
            else:
                assert (found.kind, found.ppi_source) == (kind, source)
                assert found.ppi == pytest.approx(truth["ppi"], rel=0.03)
            doubted = look(kind, told, round(3 * truth["ppi"]))
            assert doubted.ppi == pytest.approx(truth["ppi"], rel=0.03)
            # Three frames of one format on film of its width show more than a header says; a
            # mount's outline alone does not.
            state = "ok" if kind == "strip_120" else "review"
            assert {frame.state for frame in doubted.frames} == {state}
            words = f"{3 * truth['ppi']:.0f} ppi as the file's header says, but"
            assert [note for note in doubted.notes if note.startswith(words)]


def test_the_size_of_the_picture_that_a_person_states_is_evidence():
    _, truth = scene("sheet")
    size = tuple(truth["frames"][0]["size_mm"])
    found = look("sheet", "auto", 300, None, size)
    assert found.ppi == pytest.approx(truth["ppi"], rel=0.01)
    assert {frame.state for frame in found.frames} == {"review"}
    assert look("sheet", "auto", None, None, size).ppi_source == "picture size"
    assert look("sheet", "auto", truth["ppi"], None, size).frames[0].state == "ok"


def test_a_resolution_that_nothing_confirms_is_noted():
    found = look("print", "print", 300)
    assert found.ppi_source == "tag"
    assert any("nothing on the master confirms it" in note for note in found.notes)


def test_no_resolution_at_all_is_noted():
    found = look("print", "print", None)
    assert found.ppi is None
    assert any("nothing states or shows the resolution" in note for note in found.notes)


def test_a_resolution_that_cannot_be_is_not_used():
    """A master 3 mm wide shows no picture."""
    found = look("print", "print", 6000)
    assert found.ppi is None
    words = "6000 ppi as the file's header says would make the whole master 3 mm long"
    assert [note for note in found.notes if words in note]
    (frame,) = found.frames
    # It says no more than a header without a resolution.
    (bare,) = look("print", "print", None).frames
    assert (frame.state, frame.corners) == (bare.state, bare.corners)
    (frame,) = look("print", "print", None, 6000).frames
    assert frame.state == "review"
    assert "6000 ppi as batch.yaml states" in frame.reasons[-1]


@pytest.mark.parametrize(
    ("x", "y", "unit", "wanted"),
    [
        (300, 300, "in", 300),
        (72, 72, "in", 72),
        (1000, 1000, "cm", 2540),
        (300, 72, "in", None),
        (300, 300, "none", None),
        (0, 0, "in", None),
        (float("inf"), float("inf"), "in", None),
    ],
)
def test_the_header_is_read_as_it_stands(x, y, unit, wanted):
    found = ppi_of(Resolution(x=x, y=y, unit=unit))
    assert found == (None if wanted is None else pytest.approx(wanted))


# ------------------------------------------------------------------ a kind that is not there


@pytest.mark.parametrize(
    ("there", "stated", "words"),
    [
        ("strip_135", "sheet", "perforations"),
        ("strip_135", "plate", "perforations"),
        ("strip_135", "strip_120", "perforations"),
        ("strip_120", "strip_135", "no perforations"),
        ("strip_120", "sheet", "frames side by side"),
        ("sheet", "strip_135", "no perforations"),
        ("sheet", "strip_120", ""),
        ("lantern", "frame_135", "sides are as"),
        ("sheet", "frame_135", "sides are as"),
        ("sheet", "mounted_slide", "sides are as"),
        ("cut_frames", "sheet", "size of frames on 35 mm film"),
    ],
)
def test_a_stated_kind_that_the_master_contradicts_is_for_review(there, stated, words):
    _, truth = scene(there)
    found = look(there, stated, truth["ppi"])
    assert found.kind == stated
    assert {frame.state for frame in found.frames} == {"review"}
    assert any(words in reason for frame in found.frames for reason in frame.reasons)
