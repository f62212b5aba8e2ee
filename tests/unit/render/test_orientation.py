"""What a TIFF says of its orientation reaches the picture, whatever else turns it."""

import itertools

import numpy as np
import pytest
import pyvips
import tifffile
from PIL import Image

from glassine.base import settings
from glassine.base.files import read_json
from glassine.base.model import Facts
from glassine.locate.turn import ORIENTATIONS, combined
from glassine.masters import opening
from glassine.masters.notes import notes_on
from makers import verified
from makers.film.samples import Sample
from makers.step_calls import do_step

WIDTH = 900
# TIFF 6.0, page 36: where the stored first row and first column are in the view.
AS_STORED = {
    1: lambda shown: shown,
    2: lambda shown: shown[:, ::-1],
    3: lambda shown: shown[::-1, ::-1],
    4: lambda shown: shown[::-1],
    5: lambda shown: shown.swapaxes(0, 1),
    6: lambda shown: np.rot90(shown, 1),
    7: lambda shown: np.rot90(shown, 2).swapaxes(0, 1),
    8: lambda shown: np.rot90(shown, -1),
}


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """A slide as it should be seen: (pixels, profile)."""
    folder = tmp_path_factory.mktemp("drawn")
    sample = Sample("PEH-0001", "mounted_slide", 0.0, 7, {"views": ("cranes",), "skew_deg": 0.0})
    path = sample.write(folder, sample.plan(WIDTH))
    with tifffile.TiffFile(path) as tiff:
        return tiff.asarray(), tiff.pages[0].tags["InterColorProfile"].value


class Desk:
    """An item of one master in a folder, taken through locate and render."""

    def __init__(self, root, shown, orientation, facts=None, corrections=None, part=None):
        self.batch, self.dir = root / "b", root / "i"
        self.batch.mkdir(parents=True)
        self.dir.mkdir()
        self.name = "PEH-0001.tif"
        pixels, profile = shown
        tifffile.imwrite(
            self.batch / self.name,
            np.ascontiguousarray(AS_STORED[orientation](pixels)),
            photometric="rgb",
            iccprofile=profile,
            extratags=[(274, "H", 1, orientation, True)],
        )
        known = Facts(**(facts or {"kind": "mounted_slide"}))
        self.given = {
            "item": "PEH-0001",
            "batch": "b",
            "masters": [{"path": self.name, "part": part, "facts": known.as_dict()}],
            "corrections": corrections,
            "settings": settings.load({"render": {"sharpen": 0, "access_long_edge": None}}),
        }

    def locate(self):
        do_step("locate", self.batch, self.dir, self.given)
        (self.master,) = read_json(self.dir / "geometry.json")["masters"]
        return self.master

    def picture(self):
        self.locate()
        verified.write(self.dir, "PEH-0001", [verified.verified(self.batch / self.name)])
        do_step("render", self.batch, self.dir, self.given)
        (self.rendered,) = read_json(self.dir / "render" / "render.json")["frames"]
        with Image.open(self.dir / "render" / self.rendered["files"][0]["name"]) as image:
            return np.asarray(image.convert("L"), float)


def reduced(picture):
    return np.asarray(Image.fromarray(picture).resize((90, 60), Image.Resampling.BOX), float)


def alike(one, other):
    return float(np.corrcoef(reduced(one).ravel(), reduced(other).ravel())[0, 1])


@pytest.fixture(scope="module")
def upright(shown, tmp_path_factory):
    """The access image of the master that needs no turning."""
    return Desk(tmp_path_factory.mktemp("upright"), shown, 1).picture()


@pytest.mark.parametrize("value", range(1, 9))
def test_the_picture_is_as_the_file_means_it(tmp_path, shown, upright, value):
    desk = Desk(tmp_path, shown, value)
    viewed = pyvips.Image.new_from_file(str(desk.batch / desk.name)).autorot().numpy()
    assert np.array_equal(viewed, shown[0])  # libvips, independently, sees the same picture
    made = desk.picture()
    assert abs(made.shape[0] - upright.shape[0]) <= 2
    assert alike(made, upright) > 0.99
    assert desk.master["orientation"] == value
    assert (desk.rendered["orientation"]["found"]) == value
    noted = [note for note in desk.master["notes"] if f"Orientation is {value}" in note]
    assert len(noted) == (value != 1)


def test_no_turn_of_the_picture_is_like_another(upright):
    """What the comparison above could not tell apart would prove nothing."""
    turned = [upright[::-1], upright[:, ::-1], upright[::-1, ::-1]]
    assert max(alike(upright, np.ascontiguousarray(each)) for each in turned) < 0.9


def test_outlines_stay_in_pixels_as_stored(tmp_path, shown):
    """The review page draws them on a preview of the stored pixels."""
    desk = Desk(tmp_path, shown, 6)
    master = desk.locate()
    height, width = AS_STORED[6](shown[0]).shape[:2]
    assert (master["width"], master["height"]) == (width, height)
    with Image.open(desk.dir / "previews" / "PEH-0001.jpg") as preview:
        assert (preview.width > preview.height) == (width > height)
    (frame,) = master["frames"]
    corners = np.array(frame["corners"])
    assert np.ptp(corners[:, 1]) > np.ptp(corners[:, 0])  # a landscape slide lies on its side
    assert (corners[0] < corners[2]).all()


def test_what_batch_yaml_states_comes_after_the_orientation(tmp_path, shown, upright):
    desk = Desk(tmp_path, shown, 6, {"kind": "mounted_slide", "emulsion_side": "toward"})
    assert alike(desk.picture(), np.ascontiguousarray(upright[:, ::-1])) > 0.99
    assert desk.master["frames"][0]["state"] == "ok"
    desk = Desk(tmp_path / "b", shown, 2, {"kind": "mounted_slide", "rotate": 90})
    assert alike(desk.picture(), np.rot90(upright, -1).copy()) > 0.99


@pytest.mark.parametrize(
    ("value", "facts"), [(2, {"emulsion_side": "toward"}), (6, {"rotate": 90})]
)
def test_a_picture_that_is_turned_or_mirrored_twice_is_for_review(tmp_path, shown, value, facts):
    master = Desk(tmp_path, shown, value, {"kind": "mounted_slide", **facts}).locate()
    (frame,) = master["frames"]
    assert frame["state"] == "review"
    assert any("twice" in reason for reason in frame["reasons"])


def test_what_a_person_decided_stands_whatever_the_orientation(tmp_path, shown):
    corrections = {"by": "op-07", "frames": [{"frame": 1, "rotate": 0, "mirror": False}]}
    frame = Desk(tmp_path, shown, 6, corrections=corrections).locate()["frames"][0]
    assert (frame["rotate"], frame["mirror"], frame["state"]) == (0, False, "ok")


def test_a_frame_that_a_person_adds_is_turned_like_the_others(tmp_path, shown):
    box = [[10.0, 10.0], [200.0, 10.0], [200.0, 150.0], [10.0, 150.0]]
    corrections = {"by": "op-07", "frames": [{"frame": 9, "corners": box}]}
    frame = Desk(tmp_path, shown, 5, corrections=corrections).locate()["frames"][-1]
    assert (frame["index"], frame["rotate"], frame["mirror"]) == (9, 90, True)


def moved(turn, picture):
    turned = np.rot90(picture, -turn[0] // 90)
    return turned[:, ::-1] if turn[1] else turned


@pytest.mark.parametrize("pair", list(itertools.product(ORIENTATIONS.values(), repeat=2)))
def test_two_turns_are_one(pair):
    picture = np.arange(12).reshape(3, 4)
    assert np.array_equal(moved(combined(*pair), picture), moved(pair[1], moved(pair[0], picture)))


@pytest.mark.parametrize("value", [0, 9, 65535])
def test_an_orientation_that_means_nothing_is_noted(tmp_path, shown, value):
    path = tmp_path / "PEH-0001.tif"
    tifffile.imwrite(path, shown[0], photometric="rgb", extratags=[(274, "H", 1, value, True)])
    header = opening.read_header(path)
    assert header.orientation == 1
    assert "masters.note_orientation" in {note.code for note in notes_on(header, path.name)}
