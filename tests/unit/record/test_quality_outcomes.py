"""Every verdict of a frame has its place among the outcomes that records and hand-overs state."""

from __future__ import annotations

from typing import get_args

from glassine.base.records.quality import Verdict
from glassine.deliver import handover
from glassine.record import history
from glassine.render import quality


def test_no_verdict_is_unknown_to_the_record_or_the_handover() -> None:
    verdicts = set(get_args(Verdict))
    assert set(history._OUTCOMES) == verdicts
    assert set(handover._WORST) == verdicts
    worst_first = tuple(sorted(quality.ORDER, key=quality.ORDER.__getitem__, reverse=True))
    assert history._OUTCOMES == handover._WORST == worst_first
