"""Names of masters, items and derivatives."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from glassine.base import naming, settings
from glassine.base.errors import GlassineError

PATTERN = naming.compile_pattern(
    settings.schema()["properties"]["naming"]["properties"]["pattern"]["default"]
)
TEMPLATE = "{item}[_{part}][_{frame:02d}]_{use}.jpg"


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("PEH-0001.tif", ("PEH-0001", None, None)),
        ("PEH-0001_emu.tiff", ("PEH-0001", "emu", None)),
        ("PEH-0001_emu_02.tif", ("PEH-0001", "emu", "02")),
        ("PEH-0001_02.tif", ("PEH-0001", None, "02")),
    ],
)
def test_a_name_on_the_template_tells_item_part_and_sequence(name, expected):
    found = naming.parse(name, PATTERN)
    assert found is not None
    assert (found.item, found.part, found.sequence) == expected


@pytest.mark.parametrize(
    "name",
    ["scan 0042 final.tif", "PEH-0001.jpg", "PEH--1.tif", "_emu.tif", "../PEH-1.tif", ".tif"],
)
def test_a_name_off_the_template_tells_nothing(name):
    assert naming.parse(name, PATTERN) is None


@pytest.mark.parametrize(
    "text",
    [
        "../../etc/x",
        "/etc/x",
        "a/../b",
        ".",
        "..",
        "",
        "CON",
        "nul.tif",
        "a\0b",
        "a b",
        "é",
        "x" * 101,
    ],
)
def test_ids_that_could_leave_their_folder_are_refused(text):
    with pytest.raises(ValueError, match="no item id"):
        naming.check_item(text)


@given(
    st.from_regex(r"[A-Z]{2,4}-[0-9]{1,6}", fullmatch=True), st.sampled_from([None, "emu", "base"])
)
def test_parse_gives_back_what_a_name_was_made_of(item, part):
    name = f"{item}_{part}.tif" if part else f"{item}.tif"
    found = naming.parse(name, PATTERN)
    assert found is not None
    assert (found.item, found.part) == (item, part)


@pytest.mark.parametrize(
    ("part", "frame", "expected"),
    [
        (None, None, "PEH-1_access.jpg"),
        ("emu", None, "PEH-1_emu_access.jpg"),
        (None, 3, "PEH-1_03_access.jpg"),
        ("emu", 12, "PEH-1_emu_12_access.jpg"),
    ],
)
def test_what_has_no_value_is_left_out_of_a_derivative_name(part, frame, expected):
    assert naming.derivative_name(TEMPLATE, "PEH-1", part, frame, "access") == expected


@pytest.mark.parametrize(
    "template", ["{item", "{nobody}.jpg", "{item}/{use}.jpg", "{item.__class__}"]
)
def test_a_template_that_cannot_serve_stops_with_the_setting_named(template):
    with pytest.raises(GlassineError, match=r"naming\.derivative"):
        naming.derivative_name(template, "PEH-1", None, 1, "access")


# RFC 8493 section 2.1.3: % CR LF need encoding; section 6.1.1: normalisation differences.
@pytest.mark.parametrize(
    ("name", "word"),
    [
        ("100%.tif", "%"),
        ("a\nb.tif", "control"),
        ("e\u0301.tif", "normal form"),
        ("x{y}.tif", "{"),
        ("a\u202eb.tif", "invisible"),
        ("lat\udce9.tif", "not UTF-8"),
        ("ä" * 101 + ".tif", "bytes"),
    ],
)
def test_names_that_packages_cannot_keep_are_named_with_their_reason(name, word):
    problem = naming.name_problem(name)
    assert problem is not None
    assert word in problem


def test_plain_names_with_diacritics_pass():
    assert naming.name_problem("Hafen Ævø, Straße.tif") is None


def test_names_that_fold_into_one_are_found():
    groups = naming.collisions(["b.tif", "B.tif", "\u00e9.tif", "e\u0301.tif", "c.tif"])
    assert groups == [["b.tif", "B.tif"], ["\u00e9.tif", "e\u0301.tif"]]


def test_masters_of_one_name_in_two_folders_have_previews_of_their_own():
    paths = ["a/1.tif", "b/1.tif", "1.tif", "1.tiff"]
    names = [naming.preview_name(path) for path in paths]
    assert names[2] == "1.jpg"
    assert len(set(names)) == 4
