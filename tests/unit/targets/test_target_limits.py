"""What a person may write wrong in the table of limits is told before anything is judged by it."""

from __future__ import annotations

from copy import deepcopy

import pytest
import yaml

from glassine.base.errors import GlassineError
from glassine.targets import judge

TABLE = "fadgi_2016_negatives_to_4x5"


def told(tmp_path, change):
    """Return what is told of the project's tables after `change` of the criteria of one."""
    value = yaml.safe_load(judge.LIMITS_PATH.read_text("utf-8"))
    change(value["tables"][TABLE]["criteria"])
    path = tmp_path / "limits.yaml"
    path.write_text(yaml.safe_dump(value), "utf-8")
    with pytest.raises(GlassineError) as caught:
        judge.limits(path)
    (finding,) = caught.value.findings
    return finding


@pytest.mark.parametrize(
    ("row", "limits"),
    [
        ("sfr10", [60, "seventy", 80, 90]),
        ("sfr10", [60, True, 80, 90]),
        ("sfr10", [60, [70, 75], 80, 90]),
        ("sfr50", [[25, 95], 30, [35, 75], [40, 65]]),
        ("sfr50", [[25, 95], [30, 85, 90], [35, 75], [40, 65]]),
    ],
)
def test_a_limit_that_is_no_number_is_refused(tmp_path, row, limits):
    finding = told(tmp_path, lambda criteria: criteria[row].update(limits=limits))
    assert finding.code == "targets.limits"
    assert f"The row {row} of {TABLE}" in finding.what


def test_what_is_printed_of_a_row_that_is_not_judged_may_be_anything():
    value = judge.limits().tables["fadgi_2016_transparencies_to_4x5"].criteria["file_format"]
    assert not value.judged
    assert value.limits == ["TIFF"] * 4


def test_a_slack_that_not_each_level_has_is_refused(tmp_path):
    finding = told(tmp_path, lambda criteria: criteria["sfr10"].update(slack_percent=[3, 2]))
    assert (finding.code, "slack_percent" in finding.what) == ("targets.limits", True)


def test_a_row_named_by_a_number_is_told_in_words(tmp_path):
    finding = told(tmp_path, lambda criteria: criteria.update({10: deepcopy(criteria["sfr10"])}))
    assert finding.code == "targets.limits"
    assert "quotes" in finding.next_step


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"rule": "lesser"}, "rule"),
        ({"limit": [1, 2, 3, 4]}, "sfr10"),
        ({"judged": "no"}, "judged"),
        ({"limits": []}, "limits"),
    ],
)
def test_a_mistake_is_named_by_its_key(tmp_path, change, key):
    finding = told(tmp_path, lambda criteria: criteria["sfr10"].update(change))
    assert finding.code == "settings.value"
    assert key in finding.what
