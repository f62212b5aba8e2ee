"""Damaged raw files: refused with words, or read; nothing else, and never as another size."""

import random
import struct
import time

import pytest

from glassine.base.errors import GlassineError
from glassine.masters import raws
from makers import raw_files

CAMERA = raw_files.Camera(full_well=0)
WHOLE = raw_files.dng(raw_files.exposed(raw_files.table(64, 96), CAMERA), CAMERA)
DIRECTORY = len(WHOLE) - 64 * 96 * 2


def damaged(number):
    """Return a file with one kind of damage; the same for a number."""
    chance = random.Random(number)
    content = bytearray(WHOLE)
    kind = number % 5
    if kind == 0:
        del content[chance.randrange(1, len(content)) :]
    elif kind == 1:
        content[chance.randrange(DIRECTORY)] = chance.randrange(256)
    elif kind == 2:
        content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
    elif kind == 3:
        place = 10 + 12 * chance.randrange(28) + 8
        content[place : place + 4] = struct.pack(
            "<I", chance.choice([0, 1, 2**16, 2**31, 2**32 - 1])
        )
    else:
        for _ in range(20):
            content[chance.randrange(DIRECTORY)] = chance.randrange(256)
    return bytes(content)


@pytest.mark.parametrize("part", range(10))
def test_damage_is_refused_in_words_or_leaves_size_and_levels(tmp_path, part):
    path = tmp_path / "a.dng"
    for number in range(part * 30, part * 30 + 30):
        path.write_bytes(damaged(number))
        begun = time.monotonic()
        try:
            raw = raws.read(path, 10**6)
        except GlassineError as refused:
            finding = refused.findings[0]
            assert finding.code.startswith("masters.") and finding.what and finding.next_step
            continue
        finally:
            assert time.monotonic() - begun < 20
        assert raw.sensor.shape[0] * raw.sensor.shape[1] <= 10**6
        assert raw.black.max() < raw.white


BOMBS = {
    "width": (256, 4, 1, struct.pack("<I", 2**31)),
    "both": (257, 4, 1, struct.pack("<I", 2**20)),
    "strips": (273, 4, 2**24, struct.pack("<I", 8)),
    "bits": (258, 3, 1, struct.pack("<H", 65535)),
    "samples": (277, 3, 1, struct.pack("<H", 65535)),
    "itself": (330, 4, 1, struct.pack("<I", 8)),
    "below": (330, 4, 60, struct.pack("<60I", *range(8, 68))),
    "black": (50714, 5, 1, struct.pack("<2I", 2**32 - 1, 0)),
    "white": (50717, 4, 1, struct.pack("<I", 0)),
    "area": (50829, 4, 4, struct.pack("<4I", 0, 0, 2**31, 2**31)),
    "pattern": (33421, 3, 2, struct.pack("<2H", 65535, 65535)),
    "table": (50712, 3, 2**20, struct.pack("<I", 8)),
}


@pytest.mark.parametrize("name", BOMBS)
def test_bombs_are_refused_or_harmless(tmp_path, name):
    shot = raw_files.Shot(more=(BOMBS[name],))
    samples = raw_files.exposed(raw_files.table(64, 96), CAMERA)
    path = tmp_path / "a.dng"
    path.write_bytes(raw_files.dng(samples, CAMERA, shot))
    begun = time.monotonic()
    try:
        raw = raws.read(path, 10**6)
        assert raw.sensor.shape == (64, 96)
    except GlassineError as refused:
        assert refused.findings[0].what
    assert time.monotonic() - begun < 20
