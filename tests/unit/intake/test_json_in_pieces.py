"""A JSON array is read an object at a time: the same objects as when it is read whole."""

from __future__ import annotations

import json
import tracemalloc
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from glassine.base.errors import GlassineError
from glassine.intake.catalogue import json_stream, reading
from glassine.intake.given import CatalogueSettings

_SETTINGS = msgspec.convert({"catalogue": {}}, CatalogueSettings)


def in_pieces(text: str, size: int) -> Callable[[], Iterator[str]]:
    return lambda: (text[at : at + size] for at in range(0, len(text), size))


def whole(text: str) -> Any:
    """Return the entries as the standard library's reader of whole texts has them."""
    value = json.loads(text)
    if isinstance(value, dict):
        lists = [each for each in value.values() if isinstance(each, list) and each]
        return lists[0] if len(lists) == 1 and isinstance(lists[0][0], dict) else [value]
    return value if isinstance(value, list) else [value]


_SCALAR = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text()
)
_VALUE = st.recursive(
    _SCALAR,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=8,
)
_ENTRY = st.dictionaries(st.text(max_size=4), _VALUE, max_size=4)
_TOP = st.lists(_ENTRY | _VALUE, max_size=6) | st.dictionaries(
    st.text(max_size=3), _VALUE | st.lists(_ENTRY, max_size=4), max_size=4
)


@pytest.fixture(autouse=True)
def _small_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(json_stream, "_PIECE", 1)


@settings(max_examples=50, deadline=None)
@given(value=_TOP, size=st.integers(1, 9), indent=st.sampled_from([None, 1]))
def test_the_entries_are_the_same_however_the_text_comes(
    value: Any, size: int, indent: int | None
) -> None:
    text = json.dumps(value, indent=indent, ensure_ascii=False)
    assert list(json_stream.entries(in_pieces(text, size))) == whole(text)


@settings(max_examples=50, deadline=None)
@given(value=_TOP, at=st.floats(0, 1), size=st.integers(1, 9), more=st.sampled_from(["", "]", ","]))
def test_a_text_that_was_cut_off_or_goes_on_is_refused_where_it_is_no_json(
    value: Any, at: float, size: int, more: str
) -> None:
    text = json.dumps(value)
    text = text[: int(at * len(text))] + more
    try:
        expected = whole(text)
    except ValueError:
        with pytest.raises(ValueError):
            list(json_stream.entries(in_pieces(text, size)))
    else:
        assert list(json_stream.entries(in_pieces(text, size))) == expected


@pytest.mark.parametrize(
    "text",
    ["[{}", "[{},]", "[{} {}]", '{"a": [{}], "a": 1}', '[{"a": 1, "a": 2}]', "[{}] x", "[NaN]",
     '{"a": NaN}', "[1e999]", '{"a" 1}', "{a: 1}", "", "[" * 100_000, '{"a":' * 100_000],
)  # fmt: skip
def test_what_is_no_json_is_refused(text: str) -> None:
    with pytest.raises((ValueError, RecursionError)):
        list(json_stream.entries(in_pieces(text, 7)))


def test_the_line_of_the_fault_is_told(tmp_path: Path) -> None:
    path = tmp_path / "catalogue.json"
    path.write_text('[\n{"item_id": "A"},\n{"item_id" "B"}\n]\n')
    with pytest.raises(GlassineError, match="line 3"):
        reading.read_catalogue(path, _SETTINGS)


@pytest.mark.parametrize("form", ["[%s]", '{"total": 9, "items": [%s], "next": null}'])
def test_a_long_array_is_not_held_as_a_whole(form: str) -> None:
    """5,000 objects of 100 letters: half a MB of text, and some 3 MB of objects."""
    one = json.dumps({"item_id": "PEH-0001", "title": "x" * 70})
    before, after = form.split("%s")

    def pieces() -> Iterator[str]:
        yield before
        for number in range(5_000):
            yield one if number == 0 else f",{one}"
        yield after

    tracemalloc.start()
    count = sum(1 for _ in json_stream.entries(pieces))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert count == 5_000 and peak < 200_000


def test_null_in_an_array_is_no_end_of_it(tmp_path: Path) -> None:
    path = tmp_path / "catalogue.json"
    path.write_text('[{"item_id": "A", "title": "a"}, null, {"item_id": "B"}]')
    with pytest.raises(GlassineError, match="Entry 2"):
        reading.read_catalogue(path, _SETTINGS)
