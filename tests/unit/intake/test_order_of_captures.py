"""Captures whose headers do not say when, or by which camera, they were made.

Ways to be wrong and look right: a separator that was saved anew lost its header and stands in a
session of its own, so its captures slide to the item before; an order by name that nobody is told.
"""

import numpy as np
import pytest
import tifffile

from glassine.base import settings
from glassine.intake import rolls, sessions
from makers import session
from makers.step_calls import taken_in


def shot(number, taken=None, camera="X"):
    return sessions.Shot(f"DSC_{number:04d}.tif", taken, camera)


def order(session_):
    return [each.counter[1] for each in session_.shots]


def test_a_file_without_a_header_stays_among_those_of_its_folder():
    shots = [shot(1, 10.0), shot(2, 20.0), shot(3, camera=""), shot(4, 40.0)]
    (one,) = sessions.sessions(shots)
    assert order(one) == [1, 2, 3, 4]
    assert (one.untimed, one.unordered) == (1, False)


def test_names_give_no_order_where_the_known_times_contradict_them():
    shots = [shot(1, 40.0), shot(2, camera=""), shot(3, 10.0)]
    (one,) = sessions.sessions(shots)
    assert one.unordered


def test_two_cameras_in_one_folder_are_two_sessions_whatever_their_clocks_say():
    shots = [shot(1, 10.0), shot(900, 5.0, "Y"), shot(2, 20.0), shot(901, 15.0, "Y")]
    assert [order(each) for each in sessions.sessions(shots)] == [[1, 2], [900, 901]]


def test_midnight_between_captures_changes_no_order():
    day = 86_400.0
    (one,) = sessions.sessions([shot(1, day - 5), shot(2, day + 5), shot(3, day + 9)])
    assert (order(one), one.other_order) == ([1, 2, 3], ())


@pytest.fixture
def studio(tmp_path):
    folder = tmp_path / "b"
    folder.mkdir()
    (folder / "catalogue.csv").write_text("item_id,title\nPEH-0001,Quay\nPEH-0002,Mole\n")
    return folder


CAMERA = (271, "s", 8, "Harbour", True)  # TIFF 6.0, Make
MADE = (306, "s", 20)  # TIFF 6.0, DateTime


def put(folder, number, picture, *, header=True):
    moment = f"2026:03:17 10:00:{number:02d}"
    tags = [CAMERA, (*MADE, moment, True)] if header else []
    samples = picture.astype(np.uint16) * 257
    tifffile.imwrite(
        folder / f"DSC {number:04d}.tif", samples, photometric="rgb", extratags=tags, metadata=None
    )


def take(folder):
    config = settings.load(
        {"intake": {"watch_s": 0}, "naming": {"identify": ["name", "catalogue", "separator"]}}
    )
    return taken_in(folder, {"batch": "b", "settings": config})


@pytest.mark.parametrize("lost", [{4}, set(range(1, 7))])
def test_a_separator_that_lost_its_header_opens_its_item_and_the_order_is_told(studio, lost):
    pictures = [session.sleeve("PEH-0001", seed=1), session.film(2), session.film(3)]
    pictures += [session.sleeve("PEH-0002", seed=4), session.film(5), session.film(6)]
    for number, picture in enumerate(pictures, 1):
        put(studio, number, picture, header=number not in lost)
    result = take(studio)
    owners = {
        master["path"]: item["item"] for item in result["items"] for master in item["masters"]
    }
    assert [owners[f"DSC {number:04d}.tif"] for number in range(1, 7)] == [
        "PEH-0001", "PEH-0001", "PEH-0001", "PEH-0002", "PEH-0002", "PEH-0002",
    ]  # fmt: skip
    (told,) = [note for note in result["notes"] if note["code"] == "intake.order_by_name"]
    assert f"{len(lost)} of 6 captures" in told["what"] and "order of their names" in told["what"]


# Up to six frames a strip, film of 36 to frame 38 or so: common practice, no source.
@pytest.mark.parametrize(
    ("frames", "said"),
    [
        (range(4, 37), "1 to 3 are not here, before 4"),
        (range(2, 37), "1 is not here, before 2"),
        (range(1, 37), ""),
        (range(0, 37), ""),
        (range(13, 19), ""),  # a strip
        (range(107, 140), ""),  # a camera's counter
    ],
)
def test_frames_missing_at_the_start_of_a_roll_are_told(frames, said):
    assert rolls.start_words(frames) == said


def test_a_roll_that_begins_late_is_for_review_and_its_end_by_the_number_stated(tmp_path):
    folder = tmp_path / "b"
    folder.mkdir()
    for number in range(3, 11):
        tifffile.imwrite(folder / f"R1_{number:02d}.tif", np.full((8, 12), number, np.uint16))
    (folder / "batch.yaml").write_text("items:\n  - {match: R1, captures: 12}\n")
    more = {"intake": {"watch_s": 0}, "catalogue": {"required": False}}
    (item,) = taken_in(folder, {"batch": "b", "settings": settings.load(more)})["items"]
    told = {finding["code"]: finding for finding in item["findings"]}
    assert "1 to 2 are not here, before 3" in told["intake.frame_missing"]["what"]
    assert told["intake.frame_missing"]["severity"] == "review"
    assert "8 captures" in told["intake.captures"]["what"], "two at the start, two at the end"
