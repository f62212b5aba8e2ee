"""Raw files at the door: each ends as a master, beside its TIFF, as a calibration or held."""

import hashlib

import pytest

from glassine.base import settings
from makers import raw_files
from makers.step_calls import taken_in
from unit.intake.test_files_beside_masters import batch, findings, states, take, tiff  # noqa: F401

CAMERA = raw_files.Camera(full_well=0)


def raw(path, level=0.5, taken="2026:03:17 10:00:00"):
    path.parent.mkdir(parents=True, exist_ok=True)
    shot = raw_files.Shot(taken=taken)
    raw_files.write(path, raw_files.table(64, 96) * level, CAMERA, shot)


@pytest.fixture
def folder(tmp_path):
    path = tmp_path / "b1"
    path.mkdir()
    (path / "catalogue.csv").write_text("item_id,title\nPEH-0001,Quay\nPEH-0002,Mole\n")
    raw(path / "PEH-0001.dng", 0.4)
    raw(path / "PEH-0002.DNG", 0.6)
    return path


def masters(result):
    return {item["item"]: [m["path"] for m in item["masters"]] for item in result["items"]}


def test_raw_files_without_a_tiff_are_masters(folder):
    result = take(folder)
    assert masters(result) == {"PEH-0001": ["PEH-0001.dng"], "PEH-0002": ["PEH-0002.DNG"]}
    assert set(states(result).values()) == {"ready"}
    assert result["items"][0]["masters"][0]["size_px"] == [96, 64]
    assert "calibration" not in result


def test_a_raw_file_with_a_tiff_of_its_stem_is_one_item(folder):
    tiff(folder / "PEH-0001.tif", 1)
    tiff(folder / "tiffs" / "PEH-0002.tif", 2)
    result = take(folder)
    assert masters(result) == {"PEH-0001": ["PEH-0001.tif"], "PEH-0002": ["tiffs/PEH-0002.tif"]}
    beside = [each["path"] for item in result["items"] for each in item["companions"]]
    assert beside == ["PEH-0001.dng", "PEH-0002.DNG"]


def test_two_raw_files_of_one_stem_are_held(folder):
    raw(folder / "PEH-0001.nef", 0.41)
    assert states(take(folder))["PEH-0001"] == "held"


def test_a_light_capture_is_no_item_and_is_told(folder):
    raw(folder / "light.dng", 1.0, "2026:03:17 09:00:00")
    raw(folder / "Light_02.dng", 0.9, "2026:03:17 09:30:00")
    raw(folder / "dark.dng", 0.0, "2026:03:17 09:00:00")
    result = take(folder)
    assert set(states(result)) == {"PEH-0001", "PEH-0002"}
    roles = {each["path"]: each["role"] for each in result["calibration"]}
    assert roles == {"light.dng": "light", "Light_02.dng": "light", "dark.dng": "dark"}
    assert ("intake.calibration", "light.dng") in findings(result)


def test_a_light_capture_that_the_catalogue_names_is_an_item(folder):
    (folder / "catalogue.csv").write_text("item_id,title\nPEH-0001,Q\nPEH-0002,M\nlight,Lamp\n")
    raw(folder / "light.dng", 0.3)
    result = take(folder)
    assert masters(result)["light"] == ["light.dng"] and "calibration" not in result


def test_a_raw_file_off_the_template_is_held_with_its_name(folder):
    raw(folder / "DSC 0107.NEF", 0.2)
    result = take(folder)
    held = [item for item in result["items"] if item["state"] == "held"]
    assert [m["path"] for item in held for m in item["masters"]] == ["DSC 0107.NEF"]


def test_a_listed_raw_file_that_is_missing_holds_its_item(folder):
    names = ("PEH-0001.dng", "PEH-0002.DNG")
    lines = [f"{hashlib.sha256((folder / n).read_bytes()).hexdigest()}  {n}" for n in names]
    lines.append(f"{'0' * 64}  PEH-0003.nef")
    (folder / "manifest-sha256.txt").write_text("\n".join(lines) + "\n")
    assert ("intake.master_missing", "PEH-0003.nef") in findings(take(folder))


def test_an_unlisted_raw_file_of_a_listed_batch_must_be_listed(folder):
    digest = hashlib.sha256((folder / "PEH-0001.dng").read_bytes()).hexdigest()
    (folder / "manifest-sha256.txt").write_text(f"{digest}  PEH-0001.dng\n")
    entries = {m["path"]: m for item in take(folder)["items"] for m in item["masters"]}
    assert entries["PEH-0002.DNG"].get("must_be_listed") is True


def test_an_unlisted_light_capture_of_a_listed_batch_is_told(folder):
    raw(folder / "light.dng", 1.0, "2026:03:17 09:00:00")
    assert ("intake.unlisted", "light.dng") not in findings(take(folder))
    digest = hashlib.sha256((folder / "PEH-0001.dng").read_bytes()).hexdigest()
    (folder / "manifest-sha256.txt").write_text(f"{digest}  PEH-0001.dng\n")
    assert ("intake.unlisted", "light.dng") in findings(take(folder))


def test_a_row_names_a_raw_file_and_one_that_names_a_tiff_misses_it(folder):
    rows = "item_id,title,masters\nPEH-0001,Quay,PEH-0001.tif\nPEH-0002,Mole,PEH-0002.dng\n"
    (folder / "catalogue.csv").write_text(rows)
    result = take(folder)
    assert states(result) == {"PEH-0001": "held", "PEH-0002": "ready"}
    assert ("catalogue.master_missing", "PEH-0001.tif") in findings(result)


def test_a_raw_file_whose_tiff_alone_is_missing_is_for_review(folder):
    tiff(folder / "PEH-0001.tif", 1)
    result = take(folder)
    assert ("intake.raw_alone", "PEH-0002.DNG") in findings(result)
    assert states(result)["PEH-0002"] == "ready"


def test_the_same_raw_bytes_twice_are_held(folder):
    (folder / "PEH-0002.DNG").write_bytes((folder / "PEH-0001.dng").read_bytes())
    assert set(states(take(folder)).values()) == {"held"}


def raw_first(folder, **intake):
    """Return intake.json where the raw file of a pair is the master."""
    own = {"watch_s": 0, "labels": "never", **intake}
    config = settings.load(
        {
            "intake": own,
            "raw": {"with_tiff": "master"},
            "catalogue": {"columns": {"masters": "masters"}},
        }
    )
    return taken_in(folder, {"batch": folder.name, "settings": config})


def test_by_setting_the_raw_file_is_the_master_and_its_tiff_beside_it(folder):
    tiff(folder / "PEH-0001.tif", 1)
    tiff(folder / "tiffs" / "PEH-0002.tif", 2)
    result = raw_first(folder, raws="deliver")
    assert masters(result) == {"PEH-0001": ["PEH-0001.dng"], "PEH-0002": ["PEH-0002.DNG"]}
    assert set(states(result).values()) == {"ready"}
    beside = [
        (each["path"], each["kind"], each["master"], each["delivered"])
        for item in result["items"]
        for each in item["companions"]
    ]
    assert beside == [
        ("PEH-0001.tif", "tiff", "PEH-0001.dng", True),
        ("tiffs/PEH-0002.tif", "tiff", "PEH-0002.DNG", True),
    ]


def test_a_tiff_beside_two_raw_files_of_its_name_is_held(folder):
    raw(folder / "a" / "PEH-0001.dng", 0.41)
    tiff(folder / "tiffs" / "PEH-0001.tif", 1)
    result = raw_first(folder)
    assert states(result)["PEH-0001"] == "held"
    assert ("intake.tiff_beside", "tiffs/PEH-0001.tif") in findings(result)


def test_a_row_that_lists_the_tiff_means_its_raw_file(folder):
    (folder / "catalogue.csv").write_text("item_id,title,masters\nA-1,Quay,DSC_1.tif\n")
    (folder / "PEH-0001.dng").rename(folder / "DSC_1.dng")
    (folder / "PEH-0002.DNG").unlink()
    tiff(folder / "DSC_1.tif", 1)
    result = raw_first(folder)
    assert masters(result)["A-1"] == ["DSC_1.dng"]
