"""Files whole or not at all; JSON without surprises; paths that stay inside."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from glassine.base import files
from glassine.base.errors import GlassineError


def test_a_failed_write_leaves_the_old_file_and_no_leftover(tmp_path):
    path = tmp_path / "record.json"
    files.write_text(path, "old")
    with pytest.raises(RuntimeError), files.replacing(path) as temporary:
        temporary.write_text("half")
        raise RuntimeError
    assert path.read_text() == "old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["record.json"]


def test_a_folder_is_replaced_as_a_whole(tmp_path):
    path = tmp_path / "tiles"
    for content in ("one", "two"):
        with files.replacing_folder(path) as temporary:
            (temporary / content).write_text(content)
    assert [entry.name for entry in path.iterdir()] == ["two"]


def test_sweep_removes_what_a_killed_run_left(tmp_path):
    (tmp_path / ".part-1-a.json").write_text("half")
    (tmp_path / ".part-1-tiles").mkdir()
    (tmp_path / "a.json").write_text("whole")
    assert len(files.sweep(tmp_path)) == 2
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.json"]


# RFC 8259 section 4: names within an object SHOULD be unique; section 6: no NaN.
@pytest.mark.parametrize("text", ['{"a": 1, "a": 2}', '{"a": NaN}', "{", "[" * 100_000, "\xff"])
def test_json_that_readers_would_read_differently_is_refused(tmp_path, text):
    path = tmp_path / "bad.json"
    path.write_bytes(text.encode("latin-1"))
    with pytest.raises(GlassineError, match=r"bad\.json"):
        files.read_json(path)


def test_nan_is_never_written():
    with pytest.raises(ValueError, match="JSON"):
        files.dump_json({"value": math.nan})


@given(st.dictionaries(st.text(alphabet=st.characters(exclude_categories=["Cs"])), st.integers()))
def test_json_comes_back_as_it_was(value):
    import json

    assert json.loads(files.dump_json(value)) == value


@pytest.mark.parametrize(
    "relative", ["", "/etc/passwd", "../x", "a/../../x", "C:/x", "a\\b", "a\0b", "link/x"]
)
def test_no_path_leaves_its_root(tmp_path, relative):
    root = tmp_path / "root"
    root.mkdir()
    (root / "link").symlink_to("/etc")
    with pytest.raises(ValueError, match="path"):
        files.inside(root, relative)


def test_paths_inside_pass(tmp_path):
    assert files.inside(tmp_path, "a/b.tif") == tmp_path / "a" / "b.tif"
