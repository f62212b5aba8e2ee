"""Sound masters give their facts; everything else is refused in plain words, before decoding."""

from __future__ import annotations

import json
import os
import shutil
import struct
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
import pyvips
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from glassine.base.errors import GlassineError
from glassine.base.records.parts import Header, Resolution
from glassine.masters import colour, opening
from glassine.masters.refusal import printable

CORPUS = Path(__file__).resolve().parents[4] / "shared" / "corpus"
RNG = np.random.default_rng(3)
SAMPLES = RNG.integers(0, 65535, (40, 60, 3)).astype(np.uint16)


def _tiff(path: Path, content: np.ndarray = SAMPLES, **options: Any) -> Path:
    options.setdefault("photometric", "rgb" if content.ndim == 3 else "minisblack")
    tifffile.imwrite(path, content, **options)
    return path


def _codes(path: Path) -> set[str]:
    with pytest.raises(GlassineError) as error:
        opening.read_header(path)
    for finding in error.value.findings:
        assert "Traceback" not in finding.sentence()
        assert finding.next_step
    return {finding.code.removeprefix("masters.") for finding in error.value.findings}


def _decoded(path: Path) -> np.ndarray:
    return opening.open_image(path).numpy()


# ------------------------------------------------------------------ sound masters


def test_a_camera_master_gives_its_facts(tmp_path: Path) -> None:
    """Tags are written by Pillow, an implementation apart from the one that reads them here."""
    image = Image.fromarray((SAMPLES // 257).astype(np.uint8))
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Quayside Optics", "Q150"
    exif[0x0131], exif[0x013B] = "Capture station 4", "op-07"
    exif[0x0112] = 1
    exif[0x8769] = {
        0x829A: (1, 125),
        0x829D: (8, 1),
        0x8827: 64,
        0x9003: "2026:03:17 10:00:00",
        0x9011: "+01:00",
        0x920A: (120, 1),
        0xA431: "0042",
        0xA434: "Reproduction lens 120",
        0x9000: b"0230",
    }
    path = tmp_path / "PEH-0001.tif"
    image.save(path, exif=exif.tobytes(), dpi=(4000, 4000), icc_profile=colour.srgb_profile())
    header = opening.read_header(path)
    assert (header.width, header.height) == (60, 40)
    assert (header.bits, header.samples, header.colour) == ([8, 8, 8], 3, "rgb")
    assert (header.compression, header.byte_order) == ("uncompressed", "little endian")
    assert header.resolution == Resolution(x=4000.0, y=4000.0, unit="in")
    assert header.software == "Capture station 4"
    assert header.icc_sha256 is not None
    assert header.icc_name
    capture = header.capture
    assert (capture.make, capture.model) == ("Quayside Optics", "Q150")
    assert (capture.serial, capture.lens) == ("0042", "Reproduction lens 120")
    assert (capture.exposure_s, capture.f_number, capture.iso) == (0.008, 8.0, 64.0)
    assert (capture.focal_mm, capture.artist) == (120.0, "op-07")
    assert (capture.taken, capture.offset) == ("2026-03-17T10:00:00", "+01:00")
    assert msgspec.convert(json.loads(json.dumps(msgspec.to_builtins(header))), Header) == header


@pytest.mark.parametrize(
    ("options", "facts"),
    [
        ({}, {"compression": "uncompressed", "byte_order": "little endian", "puid": "fmt/353"}),
        ({"byteorder": ">"}, {"byte_order": "big endian", "puid": "fmt/353"}),
        ({"bigtiff": True}, {"format_name": "BigTIFF", "puid": None}),
        ({"compression": "zlib", "predictor": True}, {"compression": "deflate"}),
        ({"compression": "zlib", "tile": (16, 16)}, {"contiguous_from": None}),
        ({"resolution": (1574.8, 1574.8), "resolutionunit": 3}, {}),
    ],
)
def test_storage_is_told_and_the_samples_come_back(
    tmp_path: Path, options: dict[str, Any], facts: dict[str, Any]
) -> None:
    path = _tiff(tmp_path / "m.tif", **options)
    header = opening.read_header(path)
    assert {key: getattr(header, key) for key in facts} == facts
    assert np.array_equal(_decoded(path), SAMPLES)


def test_a_resolution_per_centimetre_stays_one(tmp_path: Path) -> None:
    path = _tiff(tmp_path / "m.tif", resolution=(1574.8, 1574.8), resolutionunit=3)
    found = opening.read_header(path).resolution
    assert found is not None and found.unit == "cm"
    assert found.x == pytest.approx(1574.8, abs=1e-3)


def test_a_single_strip_beyond_libtiffs_own_limit_opens(tmp_path: Path) -> None:
    """libtiff refuses to unpack more than 50 MB at once unless told that sizes were checked."""
    content = np.zeros((5200, 5200), np.uint16)
    content[::7, ::5] = 40000
    path = _tiff(tmp_path / "m.tif", content, compression="zlib", rowsperstrip=5200)
    assert np.array_equal(_decoded(path).reshape(content.shape), content)


def test_a_small_copy_in_a_second_directory_is_no_second_picture(tmp_path: Path) -> None:
    path = tmp_path / "m.tif"
    with tifffile.TiffWriter(path) as writer:
        writer.write(SAMPLES, photometric="rgb")
        writer.write(SAMPLES[::8, ::8], photometric="rgb", subfiletype=1)
    assert opening.read_header(path).width == 60


def test_a_name_that_is_not_utf8_opens(tmp_path: Path) -> None:
    plain = _tiff(tmp_path / "m.tif")
    odd = Path(os.fsdecode(os.fsencode(tmp_path) + b"/lat\xe9.tif"))
    shutil.copy(plain, odd)
    assert np.array_equal(_decoded(odd), SAMPLES)
    assert printable(odd).endswith("lat\\xe9.tif")


def test_the_profile_is_the_embedded_one(tmp_path: Path) -> None:
    profile = colour.srgb_profile()
    path = _tiff(tmp_path / "m.tif", iccprofile=profile)
    assert opening.icc_profile(opening.open_image(path)) == profile
    assert opening.icc_profile(opening.open_image(_tiff(tmp_path / "n.tif"))) is None


@pytest.mark.filterwarnings("ignore::ResourceWarning")  # the oracle leaves its file open
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("content", ["plain", "exif-2.2", "exif-2.1", "big endian"])
def test_the_pronom_id_is_that_of_an_independent_identifier(tmp_path: Path, content: str) -> None:
    """Oracle: fido with PRONOM signatures, version 109."""
    fido = pytest.importorskip("fido.fido")
    path = tmp_path / "m.tif"
    image = Image.fromarray((SAMPLES // 257).astype(np.uint8))
    exif = Image.Exif()
    if content.startswith("exif"):
        version = {"exif-2.2": b"0220", "exif-2.1": b"0210"}[content]
        exif[0x8769] = {0x9000: version}
    if content == "big endian":
        _tiff(path, byteorder=">")
    else:
        image.save(path, exif=exif.tobytes())
    found: list[str] = []
    identifier = fido.Fido(
        quiet=True,
        nocontainer=True,
        format_files=["formats-v109.xml", "format_extensions.xml"],
        handle_matches=lambda _name, matches, *_rest: found.extend(
            match[0].find("puid").text for match in matches
        ),
    )
    identifier.identify_file(str(path))
    assert set(found) == {opening.read_header(path).puid}  # one match for each signature


# ------------------------------------------------------------------ what is refused


def _patched(path: Path, tag: int, value: int) -> Path:
    """Set a SHORT or LONG tag's value in a little-endian classic TIFF."""
    data = bytearray(path.read_bytes())
    (offset,) = struct.unpack_from("<I", data, 4)
    (count,) = struct.unpack_from("<H", data, offset)
    for index in range(count):
        at = offset + 2 + 12 * index
        found, kind = struct.unpack_from("<HH", data, at)
        if found == tag:
            struct.pack_into("<H" if kind == 3 else "<I", data, at + 8, value)
    path.write_bytes(data)
    return path


GREY = SAMPLES[:, :, 0].copy()
REFUSED: dict[str, tuple[Any, str]] = {
    "nothing.tif": (lambda p: p.write_bytes(b""), "truncated"),
    "header only.tif": (lambda p: p.write_bytes(b"II*\0\x08\0"), "truncated"),
    "first half.tif": (
        lambda p: p.write_bytes(_tiff(p).read_bytes()[: p.stat().st_size // 2]),
        "truncated",
    ),
    "last byte gone.tif": (lambda p: p.write_bytes(_tiff(p).read_bytes()[:-1]), "truncated"),
    "directory at the end, cut.tif": (
        lambda p: p.write_bytes(struct.pack("<4sI", b"II*\0", 50_000) + bytes(9000)),
        "truncated",
    ),
    "zeros.tif": (lambda p: p.write_bytes(bytes(4096)), "damaged"),
    "page.tif": (lambda p: p.write_bytes(b"<html><body>404</body></html>"), "not_tiff"),
    "letter.tif": (lambda p: p.write_bytes(b"%PDF-1.7 ..."), "not_tiff"),
    "noise.tif": (lambda p: p.write_bytes(bytes(range(1, 200)) * 9), "not_tiff"),
    "photo.tif": (
        lambda p: Image.fromarray((SAMPLES // 257).astype(np.uint8)).save(p, "JPEG"),
        "not_tiff",
    ),
    "master.jpg": (_tiff, "name"),
    "one bit.tif": (lambda p: _tiff(p, GREY > 30000), "bits"),
    "thirty-two bits.tif": (lambda p: _tiff(p, GREY.astype(np.uint32)), "bits"),
    "float.tif": (lambda p: _tiff(p, GREY.astype(np.float16)), "sample_format"),
    "signed.tif": (lambda p: _tiff(p, GREY.astype(np.int16)), "sample_format"),
    "four channels.tif": (
        lambda p: _tiff(p, np.dstack([SAMPLES, GREY]), extrasamples=["unassalpha"]),
        "samples",
    ),
    "inks.tif": (
        lambda p: _tiff(p, np.dstack([SAMPLES, GREY]), photometric="separated"),
        "samples",
    ),
    "white is zero.tif": (lambda p: _tiff(p, GREY, photometric="miniswhite"), "samples"),
    "tiled planes.tif": (
        lambda p: _tiff(p, np.moveaxis(SAMPLES, 2, 0), planarconfig="separate", tile=(16, 16)),
        "layout",
    ),
    "two pictures.tif": (
        lambda p: tifffile.imwrite(p, np.stack([SAMPLES] * 2), photometric="rgb"),
        "pages",
    ),
    "unknown packing.tif": (lambda p: _patched(_tiff(p), 259, 50000), "compression"),
    "raw.tif": (
        lambda p: _tiff(p, extratags=[(50706, 1, 4, b"\x01\x04\0\0", True)]),
        "raw",
    ),
    "bomb.tif": (lambda p: _patched(_patched(_tiff(p), 256, 60000), 257, 60000), "too_large"),
    "no profile.tif": (lambda p: _tiff(p, iccprofile=b"x" * 400), "damaged"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_master_is_refused_with_one_code(tmp_path: Path, name: str) -> None:
    make, code = REFUSED[name]
    make(tmp_path / name)
    assert _codes(tmp_path / name) == {code}


def test_limits_on_pixels_can_be_set_and_the_shown_path_is_given_back(tmp_path: Path) -> None:
    path = _tiff(tmp_path / "m.tif")
    with pytest.raises(GlassineError) as error:
        opening.read_header(path, max_pixels=2399, shown="box 7/m.tif")
    assert error.value.findings[0].path == "box 7/m.tif"
    assert opening.read_header(path, max_pixels=2400).width == 60


def test_links_folders_and_pipes_are_not_read(tmp_path: Path) -> None:
    target = _tiff(tmp_path / "real.tif")
    (tmp_path / "link.tif").symlink_to(target)
    (tmp_path / "folder.tif").mkdir()
    os.mkfifo(tmp_path / "pipe.tif")
    for name in ("link.tif", "folder.tif", "pipe.tif"):
        assert _codes(tmp_path / name) == {"not_a_file"}
    assert _codes(tmp_path / "absent.tif") == {"missing"}


def test_damaged_pixels_are_told_when_they_are_decoded(tmp_path: Path) -> None:
    path = _tiff(tmp_path / "m.tif", compression="zlib", rowsperstrip=10)
    data = bytearray(path.read_bytes())
    with tifffile.TiffFile(path) as opened:
        start = opened.pages[0].dataoffsets[2]
    data[start + 20 : start + 60] = bytes(40)
    path.write_bytes(data)
    image = opening.open_image(path)
    with pytest.raises(pyvips.Error) as error:
        image.write_to_memory()
    told = opening.decoding_problem(path, error.value).findings[0]
    assert told.code in ("masters.damaged", "masters.truncated")


def test_a_master_is_never_written(tmp_path: Path) -> None:
    path = _tiff(tmp_path / "m.tif")
    path.chmod(0o444)
    before = (path.read_bytes(), path.stat().st_mtime_ns)
    opening.read_header(path)
    _decoded(path)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.tuples(st.integers(0, 300), st.integers(0, 255)), min_size=1, max_size=12))
def test_any_damage_to_header_and_directory_is_either_harmless_or_told(
    tmp_path: Path, changes: list[tuple[int, int]]
) -> None:
    data = bytearray(_tiff(tmp_path / "sound.tif", iccprofile=colour.srgb_profile()).read_bytes())
    for position, value in changes:
        data[position] = value
    path = tmp_path / "m.tif"
    path.write_bytes(data)
    try:
        header = opening.read_header(path)
    except GlassineError:
        return
    told = json.dumps(msgspec.to_builtins(header), allow_nan=False)
    assert msgspec.convert(json.loads(told), Header) == header


def test_published_damaged_files_are_refused_or_open(tmp_path: Path) -> None:
    """Files from public test suites: what a decoder with fatal errors refuses, is refused here."""
    if not CORPUS.is_dir():
        pytest.skip(f"no {CORPUS}")
    rows = [json.loads(line) for line in (CORPUS / "corpus.jsonl").read_text().splitlines()]
    opened = 0
    for row in rows:
        path = tmp_path / "m.tif"
        shutil.copy(CORPUS / row["file"], path)
        try:
            opening.read_header(path)
            _decoded(path)
        except GlassineError:
            continue
        except pyvips.Error as problem:
            assert opening.decoding_problem(path, problem).findings
            continue
        opened += 1
        assert row["expected"].startswith("accept"), row["file"]
    assert opened > 15
