"""A raw file with several captures in it is refused, not developed as one of them."""

import struct

import pytest

from glassine.base.errors import GlassineError
from glassine.masters import raws
from makers import raw_files

CAMERA = raw_files.Camera(full_well=0)
SAMPLES = raw_files.exposed(raw_files.table(64, 96), CAMERA)


def with_second(kind, size=(96, 64)):
    """Return a DNG with a second raw directory behind it. kind: its NewSubFileType."""
    content = raw_files.dng(SAMPLES, CAMERA)
    (count,) = struct.unpack_from("<H", content, 8)
    after = 10 + 12 * count
    entries = [
        (254, 4, kind), (256, 4, size[0]), (257, 4, size[1]), (258, 3, 16), (259, 3, 1),
        (262, 3, 32803), (273, 4, len(content) - SAMPLES.nbytes), (277, 3, 1), (278, 4, size[1]),
        (279, 4, size[0] * size[1] * 2),
    ]  # fmt: skip
    second = struct.pack("<H", len(entries))
    second += b"".join(struct.pack("<HHII", tag, type_, 1, value) for tag, type_, value in entries)
    linked = content[:after] + struct.pack("<I", len(content)) + content[after + 4 :]
    return linked + second + bytes(4)


def test_several_captures_in_one_file_are_refused_with_words(tmp_path):
    path = tmp_path / "a.dng"
    path.write_bytes(with_second(0))
    with pytest.raises(GlassineError) as refused:
        raws.read(path, 10**6)
    (finding,) = refused.value.findings
    assert finding.code == "masters.raw_frames" and "2 raw pictures" in finding.what


@pytest.mark.parametrize(("kind", "size"), [(1, (48, 32)), (16, (96, 64)), (0, (48, 32))])
def test_previews_and_enhanced_pictures_are_no_captures(tmp_path, kind, size):
    path = tmp_path / "a.dng"
    path.write_bytes(with_second(kind, size))
    try:
        assert raws.read(path, 10**6).sensor.shape == (64, 96)
    except GlassineError as refused:  # LibRaw may take the other one: then sizes part
        assert refused.findings[0].code == "masters.raw_size"
