"""What one step has read of a master serves the next, while the file is in the same state."""

import os
from pathlib import Path

import numpy as np
import pytest
import tifffile

from glassine.masters import kept, opening, pixels


@pytest.fixture(params=[None, "zlib"])
def master(tmp_path, monkeypatch, request):
    monkeypatch.setattr(pixels, "_REDUCED", kept.Kept(2**20))
    monkeypatch.setattr(pixels, "_DECODED", kept.Kept(2**20))
    path = tmp_path / "m.tif"
    _write(path, 1, request.param)
    return path, request.param


def _write(path: Path, seed: int, compression: str | None) -> None:
    content = np.random.default_rng(seed).integers(0, 65536, (60, 40, 3)).astype(np.uint16)
    tifffile.imwrite(path, content, photometric="rgb", compression=compression)


def _reduced(path: Path) -> np.ndarray:
    with pixels.opened(path, opening.read_header(path)) as source:
        return source.reduced


def _count_reads(monkeypatch):
    """Return a list that gets a name for each time that pixels are read of the file."""
    reads = []
    region, decoded = pixels._FileRows.region, pixels._in_memory

    def reading(self, *place):
        reads.append("region")
        return region(self, *place)

    def decoding(*given):
        reads.append("decoded")
        return decoded(*given)

    monkeypatch.setattr(pixels._FileRows, "region", reading)
    monkeypatch.setattr(pixels, "_in_memory", decoding)
    return reads


def test_the_next_step_does_not_read_it_again(master, monkeypatch):
    path, _ = master
    reads = _count_reads(monkeypatch)
    first = _reduced(path)
    assert len(reads) == 1
    assert np.array_equal(_reduced(path), first)
    assert len(reads) == 1


def test_what_a_step_does_with_it_does_not_reach_the_next(master):
    path, _ = master
    first = _reduced(path)
    before = first.copy()
    first[:] = 0
    assert np.array_equal(_reduced(path), before)


@pytest.mark.parametrize("how", ["written over", "another file", "its time set back"])
def test_a_file_that_changed_is_read_anew(master, how):
    path, compression = master
    old = _reduced(path)
    status = path.stat()
    if how == "another file":
        path.unlink()
    _write(path, 2, compression)
    if how == "its time set back":
        os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    assert not np.array_equal(_reduced(path), old)


def test_what_was_read_of_a_file_that_changed_meanwhile_is_not_kept(master, monkeypatch):
    path, _ = master
    header = opening.read_header(path)
    with pixels.opened(path, header) as source:
        os.utime(path)
        _ = source.reduced
    assert pixels._REDUCED.get(source._key) is None


def test_only_so_much_is_kept():
    both = kept.Kept(100)
    one, other = np.zeros(60, np.uint8), np.zeros(60, np.uint8)
    both.put(("a",), one)
    both.put(("b",), other)
    assert both.get(("a",)) is None
    assert both.get(("b",)) is other
    both.put(("c",), np.zeros(101, np.uint8))
    assert both.get(("c",)) is None
    assert both.get(("b",)) is other
