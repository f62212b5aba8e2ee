"""Kinds of film by the codes in their margins: what is of two kinds is never one film."""

from __future__ import annotations

from typing import Any, cast

import pytest

from glassine.base.model import Facts
from glassine.base.records.films import FilmValues
from glassine.base.tone import StatedEncoding
from glassine.films import groups
from glassine.films.units import Unit

NAMED = Facts(film="roll 7", film_from="batch.yaml")
BASE = (0.25, 0.6, 0.85)
ALONE = FilmValues(
    process="colour",
    channels=(0, 1, 2),
    dmin=BASE,
    dmin_source="film base, 1 region(s)",
    slopes=(0.6, 0.6, 0.6),
    slopes_source="found",
    balance=(0.0, 0.0, 0.0),
    density_matrix=None,
    balance_stated=False,
    light="",
    white=None,
    uncertainty=cast(Any, None),
)


def units(codes: list[str | None], facts: Facts) -> list[Unit]:
    """Return units that are alike in all but the codes in their margins."""
    encoding = StatedEncoding(by="assumption", name="srgb", assumed=True)
    return [
        Unit(f"PEH-{k}", f"{k}.tif", "colour", "strip_135", encoding, facts, BASE, None, ALONE,
             (1,), "0", code)
        for k, code in enumerate(codes, start=1)
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("codes", "left"),
    [
        (["79-7", "79-7", None, "115-10"], ["PEH-4"]),
        (["79-7", "79-7", "79-7"], []),
        ([None, "115-10", None], []),
        # Two kinds alike often: none of them is known to be the film of this name.
        (["79-7", "115-10", None, None, None], ["PEH-1", "PEH-2"]),
    ],
)
def test_frames_of_another_kind_are_left_out_of_a_named_film(
    codes: list[str | None], left: list[str]
) -> None:
    (group,) = groups.named(units(codes, NAMED))
    assert [unit.item for unit, _ in group.left_out] == left
    assert all("the code in its margin says film" in why for _, why in group.left_out)
    assert [unit.item for unit in group.using] == [
        f"PEH-{k}" for k in range(1, len(codes) + 1) if f"PEH-{k}" not in left
    ]


def test_half_of_one_kind_and_half_of_another_are_not_pooled() -> None:
    (group,) = groups.named(units(["79-7", "115-10"], NAMED))
    assert group.using == ()


@pytest.mark.parametrize(
    ("codes", "films"),
    [
        (["79-7", "79-7"], [2]),
        (["79-7", None], [2]),
        (["79-7", "115-10"], []),
        (["79-7", "79-7", "115-10", "115-10"], [2, 2]),
        # What lies between two kinds may be of either, so of all three none but neighbours agree.
        (["79-7", None, "115-10"], [2]),
    ],
)
def test_neighbours_of_two_kinds_are_not_taken_for_one_film(
    codes: list[str | None], films: list[int]
) -> None:
    found = groups.found(units(codes, Facts()))
    assert [len(group.using) for group in found] == films
