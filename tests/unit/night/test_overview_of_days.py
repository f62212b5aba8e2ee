"""The overview shows each day of the last 30, so that a night that was not run is seen."""

import re

from glassine.night import overview


def page(root, *nights):
    for name in {night.project for night in nights}:
        (root / name).mkdir(exist_ok=True)
        (root / name / overview.OWN).write_text("{}")
    overview.add(root, list(nights))
    return (root / overview.PAGE).read_text("utf-8")


def cells(text, project, table):
    rows = text.split("<table")[table].split("<tr>")
    row = next(row for row in rows if f'<th scope="row">{project}</th>' in row)
    return [re.sub(r"<[^>]*>", "", cell) for cell in re.findall(r"<td>(.*?)</td>", row)]


def test_a_day_without_a_night_is_seen(tmp_path, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773900000")  # 2026-03-19T06:00:00Z
    shown = page(
        tmp_path,
        overview.Night("maps", "2026-03-17T05:00:00Z", 0),
        overview.Night("maps", "2026-03-19T05:00:00Z", 1),
        overview.Night("film", "2026-03-18T05:00:00Z", 0),
    )
    assert cells(shown, "maps", 2)[-3:] == ["0", "–", "1"]
    assert cells(shown, "film", 2)[-3:] == ["–", "0", "–"]
    assert len(cells(shown, "maps", 2)) == 30


def test_the_figures_of_all_are_the_sum_of_their_last_nights(tmp_path, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773900000")
    shown = page(
        tmp_path,
        overview.Night("maps", "2026-03-17T05:00:00Z", 0, {"finished": 9, "held": 9}),
        overview.Night("maps", "2026-03-18T05:00:00Z", 0, {"finished": 10, "held": 1}),
        overview.Night("maps", "2026-03-19T05:00:00Z", 75),
        overview.Night("film", "2026-03-18T05:00:00Z", 0, {"finished": 5, "waiting": 2}),
    )
    assert cells(shown, "all", 1)[2:] == ["15", "1", "2", "0", "0"]
    assert cells(shown, "maps", 1)[2:] == ["10", "1", "0", "0", "0"]
