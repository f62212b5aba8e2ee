"""What systems leave beside the batch folders is no loose picture."""

from glassine.base import settings
from glassine.night import batches

APPLE_DOUBLE = bytes.fromhex("0005160700020000")


def test_a_systems_file_beside_the_batch_folders_is_passed_over_but_no_tiff_is(tmp_path):
    masters = tmp_path / "masters"
    (masters / "b1").mkdir(parents=True)
    (masters / "._b1.tif").write_bytes(APPLE_DOUBLE)
    (masters / ".Trashes").mkdir()
    (masters / ".Trashes" / "._x.tif").write_bytes(APPLE_DOUBLE)
    assert batches.to_process(masters, settings.load({}), tmp_path).problems == []
    (masters / "._b2.tif").write_bytes(b"II*\0")
    (masters / ".Trashes" / "._y.tif").write_bytes(b"II*\0")
    problems = batches.to_process(masters, settings.load({}), tmp_path).problems
    assert [problem.finding.code for problem in problems] == ["plan.batch_name", "run.loose_files"]
