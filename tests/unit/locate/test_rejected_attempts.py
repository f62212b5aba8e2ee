"""What an attempt found that was given up leaves no scale and no film behind."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from glassine.locate import exposures, table
from glassine.locate.candidate import Candidate
from glassine.locate.known import Known
from glassine.locate.scale import Scale

BOX = np.array([[0, 0], [60, 0], [60, 56], [0, 56]], float)
KNOWN = Known(Scale(400.0, "tag"), 2.0)
WRONG = replace(KNOWN, scale=Scale(900.0, "perforations"), seen=Scale(900.0, "perforations"))


def one(strip=0):
    made = Candidate(BOX, False, [1.0] * 4, [True] * 4, "strip" if strip else "single")
    made.strip, made.gauge = strip, "120" if strip else ""
    return made


def test_a_plate_that_was_tried_in_place_of_film_leaves_nothing(monkeypatch):
    monkeypatch.setattr(table, "picture_on", lambda scene, piece, known: (one(), WRONG))
    strip = [one(1)]
    found = table._rather_exposures(SimpleNamespace(kind="auto"), None, strip, KNOWN)
    assert found == (strip, KNOWN)


@pytest.mark.parametrize(("strip", "known"), [(0, KNOWN), (1, WRONG)])
def test_strips_in_a_sleeve_leave_a_scale_only_where_there_are_any(monkeypatch, strip, known):
    monkeypatch.setattr(table, "frames_on", lambda scene, piece, known: ([one(strip)], WRONG))
    monkeypatch.setattr(exposures, "strip_in", lambda *given: ((0, 0), (10, 4), 0.0))
    part = SimpleNamespace(centre=(0, 0), angle_deg=0.0, width=10, height=4)
    monkeypatch.setattr(table, "_part_of", lambda *given: part)
    monkeypatch.setattr(table, "upright", lambda *given: None)
    monkeypatch.setattr(table.pictures, "unseen", lambda *given: one())
    several = SimpleNamespace(lines=[None], border=SimpleNamespace(tone=None))
    _, after = table._strips_in(
        SimpleNamespace(view=None), SimpleNamespace(patch=None), several, KNOWN
    )
    assert after == known
