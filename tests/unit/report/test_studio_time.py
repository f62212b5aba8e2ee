"""Times stand in the studio's zone beside UTC where the settings name one, else in UTC alone."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from glassine.base import files, settings, zones
from glassine.base.errors import GlassineError
from glassine.night import agreement, progress
from makers import make_results, step_calls

# Central European Time: UTC+1, from the last Sunday of March at 01:00 UTC to that of October UTC+2
# (Directive 2000/84/EC of the European Parliament).
CASES = {
    "2026-03-29T00:59:59Z": "2026-03-29 00:59:59 UTC (01:59:59 Europe/Berlin)",
    "2026-03-29T01:00:00Z": "2026-03-29 01:00:00 UTC (03:00:00 Europe/Berlin)",
    "2026-10-25T00:59:59Z": "2026-10-25 00:59:59 UTC (02:59:59 Europe/Berlin)",
    "2026-10-25T01:00:00Z": "2026-10-25 01:00:00 UTC (02:00:00 Europe/Berlin)",
    "2026-12-31T23:30:00Z": "2026-12-31 23:30:00 UTC (2027-01-01 00:30:00 Europe/Berlin)",
}
HOSTILE = (
    "../../etc/passwd", "/etc/passwd", "Europe", "Europe/Berlin\x00", "Europe/../Europe/Berlin", "",
    " ", "Mars/Base", "a" * 5000, "Europe/Berlin\n", "<b>",
)  # fmt: skip


@pytest.mark.parametrize(("utc", "told"), CASES.items())
def test_summer_time_and_the_other_day_are_told(utc: str, told: str) -> None:
    assert zones.beside(utc, "Europe/Berlin") == told


@pytest.mark.parametrize("text", ["", "x", "2026-13-40T00:00:00Z", "0001-01-01T00:00:00Z"])
def test_what_is_no_time_is_left_as_it_is(text: str) -> None:
    assert "Etc" not in zones.beside(text, "Etc/GMT+12")


@pytest.mark.parametrize("name", HOSTILE)
def test_a_name_of_no_zone_is_refused_before_the_night(name: str, tmp_path: Path) -> None:
    with pytest.raises(GlassineError) as refused:
        agreement.check(settings.load({"report": {"time_zone": name}}), tmp_path)
    assert "time_zone" in str(refused.value.findings[0].as_dict())


def test_a_zone_of_the_database_is_taken_and_utc_is_the_default(tmp_path: Path) -> None:
    agreement.check(settings.load({"report": {"time_zone": "Europe/Berlin"}}), tmp_path)
    assert settings.load({})["report"]["time_zone"] is None


def report_of(folder: Path, zone: str | None) -> tuple[str, str]:
    given = make_results.write_batch(folder, 5, pictures=False)
    given["settings"]["report"]["time_zone"] = zone
    page = step_calls.write_report(folder / "results" / make_results.BATCH, given)
    return page.read_text("utf-8"), page.with_name("wall.html").read_text("utf-8")


def test_the_report_and_the_sheet_for_the_wall_have_both(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773808800")  # 2026-03-18T04:40:00Z
    for text in report_of(tmp_path / "here", "Europe/Berlin"):
        assert "2026-03-18 04:40:00 UTC (05:40:00 Europe/Berlin)" in text
    for text in report_of(tmp_path / "utc", None):
        assert "2026-03-18 04:40:00 UTC" in text
        assert "Berlin" not in text


def test_the_terminal_has_both(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773808800")
    out = io.StringIO()
    files.write_text(tmp_path / "results" / "x", "")
    progress.follow(tmp_path, [], out, 0.01, zone="Europe/Berlin")
    assert out.getvalue().startswith("2026-03-18 04:40:00 UTC (05:40:00 Europe/Berlin) nothing")
