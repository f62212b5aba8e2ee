"""Bags that were changed and sealed anew, without a receipt: their records still tell.

The whole list of changes, in all three layouts, is tried by `tests/benchmarks/run resealed`.
"""

from __future__ import annotations

import json
import shutil
import tarfile
import zipfile
from pathlib import Path

import pytest

import validate_delivery
from glassine.base import files
from glassine.deliver import bag, validation
from glassine.deliver.checks import alike, described, steps
from glassine.deliver.checks.item import items_of
from glassine.record import presentation, step
from makers import resealed

PROFILES = ("mets", "ocfl", "eark")


@pytest.fixture(scope="module")
def bags(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A delivered bag of two items in each layout, without a receipt beside it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1773800000")
        return resealed.made(tmp_path_factory.mktemp("resealed"))


def holding(path: Path) -> list[str]:
    return [finding.path for finding in validation.judged(path).wrong]


@pytest.mark.parametrize("profile", PROFILES)
def test_nothing_is_wrong_with_what_nobody_changed(
    profile: str, bags: dict[str, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert validate_delivery.main([str(bags[profile])]) == 0
    said = capsys.readouterr().out
    assert "delivered.no_receipt" in said
    files_read = sum(1 for path in bags[profile].rglob("*") if path.is_file())
    assert f"whole and valid; {files_read} files read" in said
    assert "2 items" in said


# One of each check. Thorough: every text that names the changed file was corrected too.
TRIED = [
    ("mets", "a tile gone", False),
    ("mets", "another picture as a tile", False),
    ("mets", "the title in MODS", False),
    ("mets", "the bits in MIX", False),
    ("mets", "a digest in PREMIS", False),
    ("mets", "a master cut short", True),
    ("mets", "another picture as the master", True),
    ("mets", "masters of two items exchanged", True),
    ("mets", "another access image", True),
    ("mets", "another thumbnail", True),
    ("mets", "another picture as a tile", True),
    ("mets", "two tiles exchanged", True),
    ("mets", "the polarity in geometry.json", True),
    ("mets", "a byte of a master's pixels", True),
    ("mets", "the SHA-512 in both hand-over lists", True),
    ("mets", "the rights holder in MODS", True),
    ("mets", "the date in Dublin Core", True),
    ("mets", "the original name in PREMIS", True),
    ("mets", "an address in the presentation manifest", True),
    ("mets", "the rights embedded in an access image", True),
    ("mets", "the date in index.html", True),
    ("mets", "the version of a program in PREMIS", True),
    ("mets", "a master's resolution", True),
    ("mets", "an access image of another size", True),
    ("mets", "the title embedded in an access image", True),
    ("mets", "the tile size in info.json", True),
    ("mets", "the outcome of an event", True),
    ("mets", "a verdict in quality.json", True),
    ("mets", "a corner in geometry.json", True),
    ("mets", "the size of a canvas", True),
    ("mets", "a digest in handover.csv", True),
    ("mets", "a file gone from handover.json", True),
    ("mets", "who delivers, in bag-info.txt", True),
    ("mets", "the revision in delivery.json", True),
    ("ocfl", "logical paths exchanged", True),
    ("ocfl", "a sidecar of the inventory", True),
    ("ocfl", "the inventory of the version alone", True),
    ("ocfl", "the declaration gone", True),
    ("ocfl", "the head of the inventory", True),
    ("eark", "the title in mods.xml", True),
    ("eark", "the width in a MIX file", True),
    ("eark", "the type of the package", True),
    ("eark", "a further tile", True),
]


@pytest.mark.parametrize(("profile", "change", "thorough"), TRIED)
def test_a_resealed_change_shows(
    profile: str, change: str, thorough: bool, bags: dict[str, Path], tmp_path: Path
) -> None:
    changed = resealed.make(bags[profile], tmp_path / "b1", profile, change, thorough=thorough)
    verdict = validation.judged(changed.root)
    assert verdict.wrong
    assert not [each for each in verdict.wrong if each.code.startswith("bag.")]  # it is sealed


def test_a_version_of_the_step_has_its_version_of_the_manifest() -> None:
    """Who raises one and not the other would have bags of before called wrong."""
    assert described.MANIFEST_OF == {step.VERSION: presentation.VERSION}


def test_a_frame_without_a_picture_says_nothing_of_the_tiles_of_another(
    bags: dict[str, Path],
) -> None:
    """A superseded capture has the number of the one that counts."""
    with bag.reading(bags["mets"]) as reading:
        item = items_of(reading)[0]
        render = item.json("metadata/render.json")
        skipped = {**render["frames"][0], "width": None, "height": None, "tone": None}
        render["frames"].insert(0, {**skipped, "skipped": "excluded"})
        known = item.json
        item.json = lambda path: render if path.endswith("render.json") else known(path)  # type: ignore[method-assign]
        assert list(steps._shown(item)) == []
        assert list(alike.check(item)) == []


def test_the_changed_file_is_named_first(bags: dict[str, Path], tmp_path: Path) -> None:
    change = "access images of two items exchanged"
    resealed.make(bags["eark"], tmp_path / "b1", "eark", change, thorough=False)
    data = "representations/access/data/access"
    assert set(holding(tmp_path / "b1")[:2]) == {
        f"b1/data/{item}/{data}/{item}_access.jpg" for item in (resealed.FIRST, resealed.SECOND)
    }


@pytest.mark.parametrize("form", ["tar", "zip"])
def test_archives_are_looked_into_alike(form: str, bags: dict[str, Path], tmp_path: Path) -> None:
    change = "the tile size in info.json"
    resealed.make(bags["ocfl"], tmp_path / "b1", "ocfl", change, thorough=True)
    archive = tmp_path / f"b1.{form}"
    if form == "tar":
        with tarfile.open(archive, "w") as opened:
            opened.add(tmp_path / "b1", "b1")
    else:
        with zipfile.ZipFile(archive, "w") as opened_zip:
            for path in sorted((tmp_path / "b1").rglob("*")):
                opened_zip.write(path, path.relative_to(tmp_path))
    inside = {path.replace(f"b1.{form}/", "b1/") for path in holding(archive)}
    assert inside == set(holding(tmp_path / "b1")) != set()


def test_an_inventory_leads_nowhere_out_of_the_bag(bags: dict[str, Path], tmp_path: Path) -> None:
    """A state that names the machine's own files must not have them read."""
    shutil.copytree(bags["ocfl"], tmp_path / "b1")
    (tmp_path / "METS.xml").write_text("<secret/>")
    path = tmp_path / "b1/data/PEH-0001/inventory.json"
    inventory = files.read_json(path)
    digest = next(iter(inventory["manifest"]))
    inventory["manifest"][digest] = ["../../../METS.xml"]
    inventory["versions"]["v1"]["state"][digest] = ["METS.xml"]
    path.write_text(json.dumps(inventory))
    findings = validation.check(tmp_path / "b1")
    assert "secret" not in " ".join(finding.sentence() for finding in findings)
    assert "delivered.ocfl" in {finding.code for finding in findings}
