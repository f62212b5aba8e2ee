"""A limit of pixels that the settings raise holds for every step, not for the first alone."""

from __future__ import annotations

import struct

import pytest

from glassine.base.errors import GlassineError
from glassine.base.records.given import StatedMaster
from glassine.locate import step
from glassine.masters import labels
from glassine.masters import opening as masters

WIDTH, HEIGHT = 20_001, 20_000  # more than the 400 million pixels of the settings as they come


@pytest.fixture
def large(tmp_path):
    """A grey TIFF 6.0 of 8 bits and one strip, whose pixels are a hole of the file system."""
    entries = [
        (256, WIDTH), (257, HEIGHT), (258, 8), (259, 1), (262, 1), (273, 200), (277, 1),
        (278, HEIGHT), (279, WIDTH * HEIGHT),
    ]  # fmt: skip
    directory = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in entries)
    path = tmp_path / "PEH-0001.tif"
    with path.open("wb") as stream:
        stream.write(struct.pack("<2sHIH", b"II", 42, 8, len(entries)) + directory + bytes(4))
        stream.truncate(200 + WIDTH * HEIGHT)
    return path


def master(size_px):
    return StatedMaster(path="PEH-0001.tif", size_px=size_px and tuple(size_px))


def test_it_is_held_by_the_settings_as_they_come(large):
    with pytest.raises(GlassineError, match="400000000"):
        masters.read_header(large)


def test_what_was_verified_by_a_higher_limit_is_opened(large):
    assert masters.read_header(large, WIDTH * HEIGHT).width == WIDTH
    image = masters.open_image(large)
    assert (image.width, image.height) == (WIDTH, HEIGHT)


def test_locate_takes_a_master_as_large_as_intake_saw_it(large):
    assert step.header_of(large, master([WIDTH, HEIGHT])).height == HEIGHT


@pytest.mark.parametrize("size_px", [None, [60, 40], [WIDTH - 1, HEIGHT]])
def test_locate_refuses_one_that_has_grown_over_the_limit(large, size_px):
    with pytest.raises(GlassineError) as refused:
        step.header_of(large, master(size_px))
    assert [each.code for each in refused.value.findings] == ["masters.too_large"]


def test_labels_are_read_up_to_the_limit_that_is_set(large, monkeypatch):
    monkeypatch.setattr(labels, "_reduced", lambda image: image.width)
    monkeypatch.setattr(labels, "_grey", lambda samples: samples)
    monkeypatch.setattr(labels, "read", lambda grey: [{"text": str(grey)}])
    assert labels.read_master(large, str(WIDTH * HEIGHT)) == [{"text": str(WIDTH)}]
    with pytest.raises(GlassineError):
        labels.read_master(large, "1000")
