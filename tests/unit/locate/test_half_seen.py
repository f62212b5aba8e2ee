"""What the map half sees and is far smaller than a frame is no picture that was missed."""

from types import SimpleNamespace

import numpy as np
import pytest

from glassine.locate import learned, witness
from glassine.locate.candidate import Candidate


@pytest.mark.parametrize(
    ("wide", "likely", "said"),
    [(24, 0.66, False), (24, 0.98, True), (90, 0.66, True), (90, 0.99, True)],
)
def test_only_what_is_large_or_plainly_picture_is_said(monkeypatch, wide, likely, said):
    picture = np.zeros((200, 400), np.float32)
    picture[50:150, 30:180] = 1
    picture[80 : 80 + wide, 250 : 250 + wide] = likely
    edge = np.ones_like(picture)
    kind = np.zeros(picture.shape, np.uint8)
    seen = learned.Seen(picture, edge, kind, (0.5, 0.5))
    monkeypatch.setattr(learned, "seen", lambda view: seen)
    corners = np.array([[30, 50], [180, 50], [180, 150], [30, 150]], float) * 8
    one = Candidate(corners, False, [1.0] * 4, [True] * 4, "single")
    witness.examine(SimpleNamespace(light=np.zeros((400, 800, 1))), [one], 4.0)
    assert any(each.feature == "map: picture outside" for each in one.evidence) == said
