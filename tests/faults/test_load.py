"""What a run holds while it works; two thousand items by `tests/benchmarks/run faults-load`."""

import subprocess

from faults import batches, watch


def test_open_files_stay_few_and_the_items_add_up_at_every_moment(pair):
    run = subprocess.Popen(
        pair.command(),
        env=pair.environment(),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    seen = watch.watched(run, pair.root / "results" / batches.BATCH, pause_s=0.05)
    assert run.returncode == 0
    assert seen.looks > 3
    assert seen.wrong == []
    assert 0 < seen.open_files < 256
    assert seen.engine_mb < 400
