"""A notch or a label that speaks against the stated side of the emulsion is for review."""

import pytest

from glassine.base.model import Facts, Frame, MasterGeometry
from glassine.locate import orientation, stated

LABEL = f"The label 'PEH-0042' {orientation._READS_MIRRORED} as a whole seems to be mirrored."
BOX = ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0))


def reasons_of(suggested, facts, part=None):
    frame = Frame(1, BOX, 0.0, "negative", "monochrome", confidence=0.99, state="ok")
    geometry = MasterGeometry("m.tif", 10, 10, None, None, (frame,), kind="sheet")
    one = stated.Located(part, facts, 1, False, geometry, suggested)
    ((found,),) = (each.frames for each in stated.judged([one]))
    assert (found.state == "review") == bool(found.reasons)
    return found.reasons


@pytest.mark.parametrize(
    ("suggested", "facts", "part"),
    [
        # Common practice, no source: the code notch is at the upper right of the upright sheet
        # where the emulsion faces the viewer.
        (orientation.NOTCH_TOWARD, Facts(emulsion_side="away"), None),
        (orientation.NOTCH_AWAY, Facts(emulsion_side="toward"), None),
        (orientation.NOTCH_AWAY, Facts(), "emulsion"),
        (LABEL, Facts(emulsion_side="away"), None),
    ],
)
def test_what_speaks_against_the_stated_side_is_for_review(suggested, facts, part):
    (reason,) = reasons_of((suggested,), facts, part)
    assert "emulsion" in reason


@pytest.mark.parametrize("suggested", [orientation.NOTCH_TOWARD, LABEL])
def test_where_nothing_is_stated_it_is_a_note(suggested):
    assert reasons_of((suggested,), Facts()) == ()
