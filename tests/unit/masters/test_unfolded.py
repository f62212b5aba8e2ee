"""What the proof of a compressed master unfolds are its pixels, as libvips decodes them."""

import itertools

import numpy as np
import pytest
import pyvips
import tifffile

from glassine.masters import kept, opening, pixels
from glassine.masters.opened import state

MOST = 2**20


def _write(path, bits, samples, size=(37, 53), **options):
    rng = np.random.default_rng(bits + samples)
    # Smooth and noisy parts, both ends of the range: differences overflow.
    dtype = np.uint8 if bits == 8 else np.uint16
    content = rng.integers(0, 2**bits, (*size, samples)).astype(dtype)
    content[: size[0] // 2] //= 16
    content[0, 0], content[1, 0] = 0, 2**bits - 1
    options = {"photometric": "rgb" if samples == 3 else "minisblack", **options}
    tifffile.imwrite(path, content[..., 0] if samples == 1 else content, **options)
    return content


def _decoded(path):
    header = opening.read_header(path)
    shape = (header.height, header.width, header.samples)
    dtype = "u1" if header.bits[0] == 8 else "u2"
    return pixels._in_memory(path, path, shape, dtype)


@pytest.mark.parametrize(
    ("order", "predictor", "bits", "samples", "rows"),
    list(itertools.product("<>", (1, 2), (8, 16), (1, 3), (1, 8, 37))),
)
def test_unfolded_strips_are_the_pixels(tmp_path, order, predictor, bits, samples, rows):
    path = tmp_path / "m.tif"
    options = {"compression": "zlib", "predictor": predictor == 2, "rowsperstrip": rows}
    content = _write(path, bits, samples, byteorder=order, **options)
    unfolded = opening.prove_pixels(path, most_bytes=MOST)
    decoded = _decoded(path)
    assert (unfolded.shape, unfolded.dtype) == (decoded.shape, decoded.dtype)
    assert (unfolded == decoded).all()
    assert (unfolded == content).all()


@pytest.mark.parametrize("width", [1, 2, 3, 4, 5, 8, 9])
def test_narrow_pictures_are_added_up_to_their_end(tmp_path, width):
    path = tmp_path / "m.tif"
    content = _write(
        path, 16, 3, (3, width), planarconfig="contig", compression="zlib", predictor=True
    )
    assert (opening.prove_pixels(path, most_bytes=MOST) == content).all()


@pytest.mark.parametrize(
    "options",
    [
        {},
        {"compression": "zlib", "tile": (16, 16)},
        {"compression": "zlib", "planarconfig": "separate"},
        {"compression": "lzw"},
    ],
)
def test_other_kinds_are_left_to_the_decoder(tmp_path, options):
    path = tmp_path / "m.tif"
    if options.get("planarconfig"):
        content = np.zeros((3, 37, 53), np.uint16)
        tifffile.imwrite(path, content, photometric="rgb", **options)
    elif options.get("compression") == "lzw":
        pyvips.Image.black(53, 37, bands=3).tiffsave(path, compression="lzw")
    else:
        _write(path, 16, 3, **options)
    assert opening.prove_pixels(path, most_bytes=MOST) is None


def test_a_master_too_large_to_be_kept_is_left_to_the_decoder(tmp_path):
    path = tmp_path / "m.tif"
    content = _write(path, 16, 3, compression="zlib")
    assert opening.prove_pixels(path, most_bytes=content.nbytes - 1) is None
    assert opening.prove_pixels(path, most_bytes=content.nbytes) is not None


@pytest.fixture
def handed_on(tmp_path, monkeypatch):
    """A master whose pixels were handed on, and what counts how often one is decoded."""
    monkeypatch.setattr(pixels, "_DECODED", kept.Kept(MOST))
    monkeypatch.setattr(pixels, "_REDUCED", kept.Kept(MOST))
    path = tmp_path / "m.tif"
    content = _write(path, 16, 3, compression="zlib")
    decodings = []
    decode = pixels._in_memory

    def counting(*given):
        decodings.append(1)
        return decode(*given)

    monkeypatch.setattr(pixels, "_in_memory", counting)
    header = opening.read_header(path)
    pixels.hand_on(
        opening.prove_pixels(path, most_bytes=MOST), state(path.stat()), opening.read_header(path)
    )
    return path, header, content, decodings


def test_what_was_handed_on_is_not_decoded_again(handed_on):
    path, header, content, decodings = handed_on
    with pixels.opened(path, header) as source:
        assert (source.region(0, 0, source.width, source.height) == content).all()
    assert not decodings


def test_pixels_of_a_file_that_was_written_to_since_are_not_used(handed_on):
    path, header, content, decodings = handed_on
    path.write_bytes(path.read_bytes())
    with pixels.opened(path, header) as source:
        assert (source.region(0, 0, source.width, source.height) == content).all()
    assert decodings


def test_pixels_that_are_not_of_the_header_are_refused(handed_on):
    path, header, content, _ = handed_on
    for other in (content[:-1], content.astype(np.int32), content[..., :1]):
        with pytest.raises(ValueError, match="are not the pixels"):
            pixels.hand_on(other, state(path.stat()), header)
