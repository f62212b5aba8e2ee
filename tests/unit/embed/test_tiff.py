"""Texts put into a TIFF: the picture, its pages and its profile stay; other readers find them."""

from __future__ import annotations

import hashlib
import io
import os
import shutil
import struct
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips
import tifffile
from hypothesis import given
from hypothesis import strategies as st

from glassine.base import hashing
from glassine.embed import iim, tiff, xmp
from glassine.embed.facts import Technical, Words
from glassine.masters import colour
from glassine.render import encoded

WORDS = Words(
    title="Hafenmauer für Ævøskrøgen – Łódź, 港",
    description="The quay at low water; © “Ørkind’s” stamp.",
    creators=("Åse Østergård",),
    identifier="PEH-0001",
    copyright_notice="© Port Ellery Harbour Archive",
)
TECHNICAL = Technical(300, 220, 4000.0, 1, "Glassine", "d" * 8, "m" * 8, "a.tif", "0", "1")
FIELDS = {
    tiff.DESCRIPTION: tiff.text(WORDS.description.encode()),
    tiff.DOCUMENT_NAME: tiff.text(b"PEH-0001"),
    tiff.ARTIST: tiff.text("Åse Østergård".encode()),
    tiff.COPYRIGHT: tiff.text(WORDS.copyright_notice.encode()),
    tiff.XMP: (tiff.UNDEFINED, xmp.whole(WORDS, TECHNICAL)),
    tiff.IIM: (tiff.UNDEFINED, iim.encode(WORDS)[0]),
}


def described(path: Path, fields: dict[int, tuple[int, bytes]]) -> Path:
    """Write the file with its fields beside the one without."""
    target = path.with_name("described-" + path.name)
    with path.open("rb") as source, target.open("wb") as opened:
        stream = tiff.Described(source, fields)
        digests = hashing.of_stream(stream, opened)
    assert stream.original == hashing.of_file(path).sha256
    assert digests == hashing.of_file(target)
    return target


def _pixels(shape: tuple[int, ...], dtype: Any) -> np.ndarray[Any, Any]:
    top = np.iinfo(dtype).max
    return np.random.default_rng(3).integers(0, top, shape, dtype=dtype, endpoint=True)


def _pyramid(path: Path, **more: Any) -> None:
    image = pyvips.Image.new_from_array(_pixels((300, 420, 3), np.uint8))
    image = image.copy(interpretation="srgb")
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", colour.srgb_profile())
    options = {"tile": True, "tile_width": 64, "tile_height": 64, "pyramid": True}
    image.tiffsave(str(path), **options, compression="jpeg", Q=80, **more)


def _written(path: Path, **more: Any) -> None:
    icc = colour.srgb_profile()
    pixels = _pixels((120, 90, 3), np.uint16)
    tifffile.imwrite(path, pixels, photometric="rgb", iccprofile=icc, metadata=None, **more)


def _crop(path: Path) -> None:
    pixels = _pixels((120, 90, 3), np.uint16)
    bands = (pixels[top : top + 32] for top in range(0, 120, 32))
    encoded.save_crop(path, bands, pixels.shape, rows=32, icc=colour.srgb_profile(), ppi=4000.0)


KINDS = {
    "pyramid": _pyramid,
    "pyramid, BigTIFF": lambda path: _pyramid(path, bigtiff=True),
    "pyramid in SubIFDs": lambda path: _pyramid(path, subifd=True),
    "crop": _crop,
    "big endian": lambda path: _written(path, byteorder=">", rowsperstrip=16),
    "big endian, BigTIFF": lambda path: _written(path, byteorder=">", bigtiff=True),
    "little endian, BigTIFF, one strip": lambda path: _written(path, bigtiff=True),
    "with texts already": lambda path: _written(path, description="old", software="old"),
}


def _everything(path: Path) -> list[tuple[bytes, dict[int, Any], list[Any]]]:
    """Return of each page (SubIFDs too) its strips or tiles, its pixels where tifffile alone can
    decode them, and every tag but the descriptive."""
    found = []
    with tifffile.TiffFile(path) as opened:
        pages = [page for first in opened.pages for page in (first, *(first.pages or ()))]
        for page in pages:
            tags = {tag.code: tag.value for tag in page.tags if tag.code not in tiff.DESCRIPTIVE}
            coded = list(opened.filehandle.read_segments(page.dataoffsets, page.databytecounts))
            pixels = b"" if page.compression == 7 else page.asarray().tobytes()
            found.append((pixels, tags, coded))
    return found


@pytest.mark.parametrize("kind", KINDS)
def test_pictures_pages_and_profile_stay(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    KINDS[kind](path)
    made = described(path, FIELDS)
    assert _everything(made) == _everything(path)
    before, after = path.read_bytes(), made.read_bytes()
    at = 8 if "BigTIFF" in kind else 4
    size = 8 if "BigTIFF" in kind else 4
    assert after[:at] == before[:at]
    assert after[at + size : len(before)] == before[at + size :]
    # TIFF 6.0 section 2: entries in ascending order, directory and values on word boundaries
    with made.open("rb") as opened:
        tags = list(tiff.first_directory(opened).entries)
    assert tags == sorted(tags)
    order = "<" if after[:2] == b"II" else ">"
    (place,) = struct.unpack(order + ("Q" if size == 8 else "I"), after[at : at + size])
    assert place >= len(before) and place % 2 == 0


@pytest.mark.parametrize("kind", KINDS)
def test_libvips_decodes_the_same_and_finds_the_texts(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    KINDS[kind](path)
    made = described(path, FIELDS)
    first, second = (pyvips.Image.new_from_file(str(p), fail_on="warning") for p in (path, made))
    assert np.array_equal(first.numpy(), second.numpy())
    assert second.get("icc-profile-data") == colour.srgb_profile()
    assert second.get("xmp-data") == xmp.whole(WORDS, TECHNICAL)
    assert WORDS.title.encode() in second.get("iptc-data")
    assert second.get("image-description") == WORDS.description


def test_tifffile_reads_the_texts(tmp_path: Path) -> None:
    _crop(tmp_path / "a.tif")
    with tifffile.TiffFile(described(tmp_path / "a.tif", FIELDS)) as opened:
        tags = opened.pages[0].tags
        assert tags.valueof("Artist") == "Åse Østergård"
        assert tags.valueof("Copyright") == WORDS.copyright_notice
        assert tags.valueof("DocumentName") == "PEH-0001"


@pytest.mark.parametrize("kind", ["pyramid", "crop", "big endian"])
def test_exiv2_reads_the_texts(kind: str, tmp_path: Path) -> None:
    program = shutil.which("exiv2")
    if program is None:
        pytest.skip("exiv2 is not installed (Debian package exiv2): an independent reader")
    path = tmp_path / "a.tif"
    KINDS[kind](path)
    run = subprocess.run(
        [program, "-PEIXkt", "-q", str(described(path, FIELDS))],
        capture_output=True,
        check=False,
        env={**os.environ, "LC_ALL": "C.UTF-8"},
    )
    assert run.stderr == b""
    found = dict(line.partition(" ")[::2] for line in run.stdout.decode().splitlines()[::-1])
    found = {key: value.strip() for key, value in found.items()}
    assert found["Exif.Image.ImageDescription"] == WORDS.description
    assert found["Exif.Image.Artist"] == "Åse Østergård"
    assert found["Iptc.Application2.ObjectName"] == WORDS.title
    assert found["Xmp.dc.title"] == f'lang="x-default" {WORDS.title}'


TEXTS = st.dictionaries(
    st.sampled_from(sorted(tiff.DESCRIPTIVE)),
    st.binary(min_size=1, max_size=40).map(lambda value: (tiff.UNDEFINED, value)),
)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("big", [False, True])
@given(fields=TEXTS, again=TEXTS, odd=st.integers(0, 9))
def test_any_fields_are_read_back(
    order: str, big: bool, fields: dict[int, Any], again: dict[int, Any], odd: int
) -> None:
    """Values in the entry and outside it, once more over the first, on a file of odd length."""
    file = io.BytesIO()
    pixels = np.arange(30, dtype=np.uint8).reshape(5, 6)
    tifffile.imwrite(file, pixels, byteorder=order, bigtiff=big, metadata=None)
    content = file.getvalue() + bytes(odd)
    for each in (fields, again):
        target = io.BytesIO()
        hashing.of_stream(tiff.Described(io.BytesIO(content), each), target)
        content = target.getvalue()
    with tifffile.TiffFile(io.BytesIO(content)) as opened:
        assert np.array_equal(opened.pages[0].asarray(), pixels)
    found = tiff.first_directory(io.BytesIO(content))
    for tag, (_, value) in {**fields, **again}.items():
        _, count, inline = found.entries[tag]
        place = found.form.pointer.unpack(inline)[0]
        stored = inline if count <= len(inline) else content[place:]
        assert stored[:count] == value


def test_how_a_file_is_coded(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    _crop(path)
    # 8: deflate as Adobe registered it (TIFF Technical Note 3, 2002); 7: JPEG (Technical Note 2)
    assert tiff.coding(path) == tiff.Coding("little endian", 8, (16, 16, 16), 90, 120)
    _pyramid(path, bigtiff=True)
    assert tiff.coding(path) == tiff.Coding("little endian", 7, (8, 8, 8), 420, 300)
    _written(path, byteorder=">")
    assert tiff.coding(path) == tiff.Coding("big endian", 1, (16, 16, 16), 90, 120)
    with path.open("rb") as opened:
        assert tiff.icc_profile(opened) == colour.srgb_profile()


def _classic(entries: bytes, count: int, at: int = 8) -> bytes:
    return b"II*\0" + struct.pack("<I", at) + struct.pack("<H", count) + entries


BAD = {
    "empty": b"",
    "a JPEG": b"\xff\xd8\xff\xe0" + bytes(20),
    "no version": b"II\x07\0" + bytes(20),
    "BigTIFF with pointers of 16 bytes": b"II+\0\x10\0\0\0" + bytes(20),
    "a directory beyond the end": _classic(b"", 1, 5000),
    "a directory cut short": _classic(bytes(12), 3),
    "no entries": _classic(bytes(12), 0),
    "too many entries": _classic(bytes(12 * 1001 + 4), 1001),
    "a tag twice": _classic(bytes(28), 2),
}


@pytest.mark.parametrize("kind", BAD)
def test_what_is_no_sound_tiff_is_refused(kind: str) -> None:
    with pytest.raises(ValueError, match=r"it|its"):
        tiff.Described(io.BytesIO(BAD[kind]), FIELDS)


@given(st.binary(max_size=80))
def test_any_bytes_are_read_or_refused(content: bytes) -> None:
    try:
        found = tiff.first_directory(io.BytesIO(b"II*\0" + content))
    except ValueError:
        return
    assert 0 < len(found.entries) <= tiff.MAX_ENTRIES


def _before(file_bytes: int, *, big: bool = False) -> tiff.Directory:
    return tiff.Directory(tiff._Form("<", big), {256: (3, 1, b"\1\0\0\0")}, 0, file_bytes)


def test_what_does_not_belong_or_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="picture may hang"):
        tiff.appended(_before(100), {273: (tiff.UNDEFINED, b"strips")})
    with pytest.raises(ValueError, match="may have"):
        tiff.appended(_before(100), {tiff.XMP: (tiff.UNDEFINED, bytes(tiff.MAX_ADDED + 1))})
    with pytest.raises(ValueError, match="no text"):
        tiff.appended(_before(100), {tiff.ARTIST: (tiff.ASCII, b"")})
    for size in (2**32 - 100, 2**32 + 100):
        with pytest.raises(ValueError, match="32-bit"):
            tiff.appended(_before(size), {tiff.XMP: (tiff.UNDEFINED, bytes(200))})
    start, _ = tiff.appended(_before(2**32 + 100, big=True), {tiff.XMP: (7, b"x" * 200)})
    assert start >= 2**32 + 100


def test_memory_does_not_grow_with_the_file(tmp_path: Path) -> None:
    """A file of 200 MB goes through in pieces of the hashing module's size."""
    path = tmp_path / "a.tif"
    _written(path)
    with path.open("r+b") as opened:
        opened.truncate(200 * 2**20 + 1)
    largest = 0

    class Counted:
        def write(self, piece: memoryview) -> None:
            nonlocal largest
            largest = max(largest, len(piece))

    with path.open("rb") as source:
        digests = hashing.of_stream(tiff.Described(source, FIELDS), Counted())
    assert digests.bytes > 200 * 2**20
    assert largest <= hashing.CHUNK


def test_digest_of_the_original_is_of_all_of_it(tmp_path: Path) -> None:
    _crop(tmp_path / "a.tif")
    content = (tmp_path / "a.tif").read_bytes()
    stream = tiff.Described(io.BytesIO(content), FIELDS)
    hashing.of_stream(stream)
    assert stream.original == hashlib.sha256(content).hexdigest()
