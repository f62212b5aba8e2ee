"""The second maker of raw files: LibRaw reads what it wrote, in every form of it."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import numpy as np
import pytest
import rawpy

from makers import raw_files_other as maker


@pytest.mark.parametrize("bits", [12, 14, 16])
@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("phase", maker.PHASES)
def test_libraw_reads_the_counts_that_were_written(
    tmp_path: Path, bits: int, order: Literal["<", ">"], phase: str
) -> None:
    white = {12: 4_000, 14: 15_800, 16: 60_000}[bits]
    sensor = maker.Sensor(width=192, height=128, bits=bits, phase=phase, white=white)
    written = maker.capture(tmp_path / "x.dng", sensor, order=order)
    with rawpy.imread(str(tmp_path / "x.dng")) as raw:
        np.testing.assert_array_equal(raw.raw_image_visible, written.counts)
        assert raw.white_level == white
