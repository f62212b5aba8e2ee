"""Names of pictures by the number of a frame on its film: only where asked for, never twice."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from glassine.base import naming
from glassine.base.errors import GlassineError
from glassine.base.model import Corners, Facts, Frame, MasterGeometry
from glassine.render import step
from glassine.render.work import RecordedMaster, names_of

TEMPLATE = "{item}[_{frame:02d}][_{film_frame}]_{use}.jpg"
SQUARE: Corners = ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0))
FRAME = Frame(1, SQUARE, 0.0, "negative", "colour")


def master(*numbers: str | None) -> RecordedMaster:
    frames = tuple(
        replace(FRAME, index=k, film_frame=number) for k, number in enumerate(numbers, start=1)
    )
    geometry = MasterGeometry("a.tif", 9, 9, None, None, frames)
    return RecordedMaster(Path("a.tif"), None, cast(Any, None), geometry, Facts())


def access(one: RecordedMaster, template: str) -> list[str]:
    return [names_of(one, frame, "PEH-1", template).access for frame in one.geometry.frames]


def test_the_number_stands_in_the_name_where_the_template_asks_for_it() -> None:
    assert access(master("12A", None), TEMPLATE) == [
        "PEH-1_01_12A_access.jpg",
        "PEH-1_02_access.jpg",
    ]


def test_the_default_names_do_not_change_for_it() -> None:
    template = "{item}[_{part}][_{sequence}][_{frame:02d}]_{use}.jpg"
    assert access(master("12A", "13"), template) == access(master(None, None), template)


def test_the_address_of_a_picture_does_not_change_for_it() -> None:
    one = master("12A", "13")
    found = [names_of(one, frame, "PEH-1", TEMPLATE).iiif for frame in one.geometry.frames]
    assert found == ["PEH-1_01", "PEH-1_02"]


def test_two_frames_of_one_number_are_refused_where_the_number_alone_names_them() -> None:
    template = "{item}[_{film_frame}]_{use}.jpg"
    asked = SimpleNamespace(render=SimpleNamespace(set_names=()))
    settings = SimpleNamespace(
        naming=SimpleNamespace(derivative=template), of_master=lambda kind, part: asked
    )
    given = SimpleNamespace(item="PEH-1")
    with pytest.raises(GlassineError, match="would both be named"):
        step._check_names([master("12", "12")], cast(Any, given), cast(Any, settings))


def test_a_template_with_the_number_outside_of_brackets_is_refused() -> None:
    with pytest.raises(GlassineError, match="film_frame outside of square brackets"):
        naming.check_template("{item}_{film_frame}[_{part}][_{frame:02d}]_{use}.jpg")
    naming.check_template("{item}[_{part}]" + TEMPLATE.removeprefix("{item}"))
