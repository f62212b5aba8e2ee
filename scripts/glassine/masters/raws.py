"""Camera raw files: what they say of themselves, and the samples of their sensor, read by LibRaw.

A damaged raw file opens without an error more often than not. So what LibRaw made of it is compared
with the file's own tags, levels with the samples; what does not agree is refused.
"""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

import msgspec
import numpy as np
import numpy.typing as npt
from msgspec import UNSET

from glassine.base import formats
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.parts import Capture, Header, RawPicture
from glassine.masters import header_size, raw_masked, raw_tags, tags
from glassine.masters.refusal import refuse, truncated
from glassine.masters.vips_errors import one_line

VERSION = "2"
Sensor = npt.NDArray[np.uint16]

# LibRaw counts turns and mirrors by its own numbers; as TIFF 6.0 has them.
_ORIENTATIONS = {0: 1, 1: 2, 2: 4, 3: 3, 4: 5, 5: 8, 6: 6, 7: 7}
# What share of the samples may lie above the white level that the file states.
_OVER_WHITE = 1e-4
_MAX_SIDE = 65_500
_MOST_BITS = 32  # DNG 1.7, BitsPerSample
# So far apart, as a share of the white level, masked sites may lie from the black level that the
# file states: at density 2.3 the light itself is no more.
_MASKED_APART = 0.005
# A matrix of colours has at least this determinant, and keeps white to so much.
_SINGULAR, _NEUTRAL = 1e-3, 1e-3
# Linear sRGB to XYZ of D65 (IEC 61966-2-1:1999, section 5.2).
_SRGB_TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
_COMPRESSIONS = {
    1: "uncompressed", 7: "lossless JPEG", 8: "deflate", 34892: "JPEG", 52546: "JPEG XL",
}  # fmt: skip


@dataclass(frozen=True)
class Raw:
    """A decoded raw file.

    sensor: (h, w) samples of a mosaic or (h, w, 3) of a linear raw, DN. pattern: (2, 2) of 0 red,
    1 green, 2 blue, None for a linear raw. black: DN at each place of the pattern, (2, 2), of a
    linear raw the three colours in each row, (2, 3); white: DN. matrix: balanced camera colours to
    linear sRGB (3, 3) as the file or
    LibRaw has it, None where neither does.
    balance: what the camera set for red, green and blue, green 1; None where it says none.
    """

    sensor: Sensor
    pattern: npt.NDArray[np.int64] | None
    black: npt.NDArray[np.float64]
    white: float
    matrix: npt.NDArray[np.float64] | None
    balance: tuple[float, float, float] | None
    header: Header


def software() -> str:
    """Return the version of LibRaw."""
    import rawpy

    return ".".join(str(part) for part in rawpy.libraw_version)


def _refused(path: Path, code: str, what: str, expected: str) -> GlassineError:
    return refuse(
        code,
        path,
        what,
        expected,
        "Copy the raw file again from the camera; else bring the developed 16-bit TIFF in its "
        "place.",
    )


def read(path: Path, max_pixels: int, content: Path | None = None, shown: str = "") -> Raw:
    """Return the decoded raw file.

    content: a path to the same file, where it is open already. shown: how findings name it. Raises
    GlassineError where LibRaw does not know or cannot decode it, where its tags and what was
    decoded part, or where it has more than `max_pixels`; OSError.
    """
    named, where = Path(shown or path), content or path
    size = where.stat().st_size
    if size == 0:
        raise truncated(named, "it is empty")
    tagged = _tagged(named, where, size)
    if tagged is not None:
        _check_tags(named, tagged, max_pixels)
    return _decoded(named, where, tagged, max_pixels)


def _tagged(named: Path, where: Path, size: int) -> raw_tags.Declared | None:
    with where.open("rb") as stream:
        try:
            found = raw_tags.declared(stream, size)
        except raw_tags.Broken as problem:
            raise _refused(
                named,
                "raw_damaged",
                f"Its directories are damaged: {problem}.",
                "a whole raw file.",
            ) from problem
        stream.seek(0)
        begins = stream.read(4)
    if found is None and named.suffix.lower() == ".dng":
        tiff = begins in header_size.TIFF_HEADS
        what = "Its tags name no raw picture." if tiff else "By its content this is no DNG."
        raise _refused(named, "raw_damaged", what, "a DNG file.")
    return found


def _check_tags(named: Path, tagged: raw_tags.Declared, max_pixels: int) -> None:
    _check_size(named, (tagged.width, tagged.height), max_pixels)
    if not 1 <= tagged.bits <= _MOST_BITS:
        raise _refused(
            named,
            "raw_damaged",
            f"It says that its samples have {tagged.bits} bits.",
            f"1 to {_MOST_BITS} bits a sample.",
        )
    if tagged.frames > 1:
        raise _refused(
            named,
            "raw_frames",
            f"It holds {tagged.frames} raw pictures of one size, as pixel shift and brackets in "
            "one file are; LibRaw would develop one of them alone.",
            "one raw picture a file.",
        )
    if tagged.is_wide_tile:
        raise _refused(
            named,
            "raw_tile",
            f"It is compressed as one tile {tagged.tile_width} pixels wide, wider than its picture "
            f"({tagged.width}), which LibRaw decodes to other values without saying so.",
            "tiles no wider than the picture.",
        )
    if tagged.deltas:
        raise _refused(
            named,
            "raw_levels",
            "Its black level differs from row to row or column to column, which is not developed "
            "here.",
            "one black level for each colour.",
        )
    width, height = tagged.size
    if tagged.active and not (
        0 <= tagged.active[0] < tagged.active[2] <= tagged.height
        and 0 <= tagged.active[1] < tagged.active[3] <= tagged.width
    ):
        raise _refused(
            named,
            "raw_damaged",
            f"Its active area ({width} x {height} pixels) does not lie in its picture.",
            "an active area within the picture.",
        )


def _check_size(named: Path, size: tuple[int, int], max_pixels: int) -> None:
    if min(size) < 16:
        raise _refused(
            named,
            "raw_damaged",
            f"It says that it is {size[0]} x {size[1]} pixels.",
            "a picture of a sensor.",
        )
    if size[0] * size[1] > max_pixels or max(size) > _MAX_SIDE:
        raise refuse(
            "raw_too_large",
            named,
            f"The file says that it is {size[0]} x {size[1]} pixels.",
            f"at most {max_pixels} pixels and {_MAX_SIDE} on a side.",
            "Check the file; if it is a true capture, split it, or raise the limit of "
            "masters, `intake.max_pixels`.",
        )


def _decoded(named: Path, where: Path, tagged: raw_tags.Declared | None, max_pixels: int) -> Raw:
    import rawpy

    raw = rawpy.RawPy()
    try:
        raw.open_file(os.fspath(where))
        sizes = raw.sizes
        # Before a sample is decoded: what a few bytes claim is no reason to take the memory.
        _check_size(named, (sizes.raw_width, sizes.raw_height), max_pixels)
        raw.unpack()
        return _taken(named, where, raw, tagged)
    except rawpy.LibRawError as problem:
        raise _refused(
            named,
            "raw_unknown",
            f"LibRaw {software()} cannot open or decode it: {_why(problem)}.",
            "a raw file that LibRaw knows, whole.",
        ) from problem
    finally:
        raw.close()


def _why(problem: Exception) -> str:
    text = problem.args[0] if problem.args else problem
    words = text.decode("utf-8", "replace") if isinstance(text, bytes) else str(text)
    return one_line(ValueError(words)).rstrip(".")


def _taken(named: Path, where: Path, raw: Any, tagged: raw_tags.Declared | None) -> Raw:
    """Return what LibRaw decoded, after all rules on it."""
    import rawpy

    sizes = raw.sizes
    if tagged is not None:
        whole = sizes.raw_width, sizes.raw_height
        _check_agreed(named, tagged, whole, (sizes.width, sizes.height))
    stacked = raw.raw_type == rawpy.RawType.Stack
    if tagged is not None and tagged.digest and not stacked and not tagged.linearized:
        _check_digest(named, raw.raw_image, tagged.digest)
    sensor = raw.raw_image_visible
    if sensor is None or sensor.dtype != np.uint16:
        raise _refused(named, "raw_kind", "Its samples are no 16-bit integers.", "sensor values.")
    pattern = None if stacked else _pattern(named, raw)
    # A copy: the samples are LibRaw's own memory, which is gone when the file is closed.
    sensor = np.array(sensor[..., :3] if stacked else sensor, order="C")
    black, white = _levels(named, raw, tagged, pattern)
    _check_levels(named, sensor, black, white)
    return Raw(
        sensor,
        pattern,
        black,
        white,
        _matrix(raw, tagged),
        _balance(raw),
        _header(where, raw, tagged, sensor, pattern, black, white),
    )


def _check_agreed(
    named: Path, tagged: raw_tags.Declared, whole: tuple[int, int], seen: tuple[int, int]
) -> None:
    if (tagged.width, tagged.height) != whole or tagged.size != seen:
        raise _refused(
            named,
            "raw_size",
            f"Its tags say {tagged.size[0]} x {tagged.size[1]} of {tagged.width} x "
            f"{tagged.height} pixels, decoded are {seen[0]} x {seen[1]} of {whole[0]} x "
            f"{whole[1]}.",
            "the same size in both.",
        )


def _check_digest(named: Path, samples: Sensor, digest: bytes) -> None:
    """Raise where the samples are not those that the file's own digest was taken of (DNG 1.7,
    RawImageDigest: MD5 of all pixels by rows, each of 16 bits, little-endian)."""
    md5 = hashlib.md5(samples.astype("<u2", order="C").tobytes(), usedforsecurity=False)
    if md5.digest() != digest:
        raise _refused(
            named,
            "raw_digest",
            "Its samples are not those of which its own digest was taken (RawImageDigest).",
            f"MD5 {digest.hex()} of the samples.",
        )


def _pattern(named: Path, raw: Any) -> npt.NDArray[np.int64]:
    """Return which colour is where, (2, 2), 0 red, 1 green, 2 blue."""
    found = raw.raw_pattern
    colours = raw.color_desc.decode("ascii", "replace")
    if found is None or found.shape != (2, 2) or raw.num_colors != 3 or colours != "RGBG":
        shape = "none" if found is None else " x ".join(str(side) for side in found.shape)
        raise _refused(
            named,
            "raw_pattern",
            f"Its sensor has another pattern of colours (repeats: {shape}; colours: "
            f"{raw.num_colors}, {colours}).",
            "a Bayer pattern of red, green and blue, or a linear raw of three colours.",
        )
    folded = np.where(found == 3, 1, found).astype(np.int64)
    greens = folded == 1  # of Bayer's patterns they stand on one of the diagonals
    diagonal = greens.tolist() in ([[True, False], [False, True]], [[False, True], [True, False]])
    if sorted(folded.ravel().tolist()) != [0, 1, 1, 2] or not diagonal:
        raise _refused(
            named, "raw_pattern", "Its pattern of colours is none of Bayer's.", "a Bayer pattern."
        )
    return folded


def _levels(
    named: Path, raw: Any, tagged: raw_tags.Declared | None, pattern: npt.NDArray[np.int64] | None
) -> tuple[npt.NDArray[np.float64], float]:
    """Return black at each place of the pattern (of each colour in [0] for a linear raw), and
    white, in DN. Raises GlassineError where LibRaw and the tags do not say the same."""
    by_colour = np.asarray(raw.black_level_per_channel, np.float64)
    white = float(raw.white_level)
    if pattern is None:
        black = np.stack([by_colour[:3], by_colour[:3]])
    else:
        black = by_colour[raw.raw_pattern.astype(np.int64)]
    if tagged is not None and tagged.is_dng and not tagged.linearized:
        _check_black(named, tagged, black, pattern)
        expected = tagged.white if tagged.white is not None else 2.0**tagged.bits - 1
        if abs(expected - white) > 0.5:
            raise _levels_part(named, "white", f"{expected:g}", f"{white:g}")
    return black, white


def _check_black(
    named: Path,
    tagged: raw_tags.Declared,
    black: npt.NDArray[np.float64],
    pattern: npt.NDArray[np.int64] | None,
) -> None:
    rows, columns = tagged.black_repeat
    stated = np.asarray(tagged.black or (0.0,), np.float64)
    samples = tagged.samples if pattern is None else 1
    if (
        not np.isfinite(stated).all()
        or rows not in (1, 2)
        or columns not in (1, 2)
        or stated.size != rows * columns * samples
    ):
        raise _refused(
            named,
            "raw_levels",
            f"Its black level is tagged by {rows} x {columns} places with {stated.size} values.",
            "a black level for a pattern of at most 2 x 2 places.",
        )
    if pattern is None:
        expected = np.broadcast_to(stated.reshape(rows, columns, samples)[0, 0], (3,))
        found = black[0]
    else:
        # Tagged from the corner of the active area (DNG 1.7, BlackLevel).
        expected = np.broadcast_to(stated.reshape(rows, columns), (2, 2))
        found = black
    if np.abs(np.floor(expected) - found).max() > 1.0:
        raise _levels_part(named, "black", _listed(expected), _listed(found))


def _listed(values: npt.NDArray[np.float64]) -> str:
    return ", ".join(f"{value:g}" for value in values.ravel())


def _levels_part(named: Path, which: str, tagged: str, read: str) -> GlassineError:
    return _refused(
        named,
        "raw_levels",
        f"Its tags say a {which} level of {tagged}, LibRaw reads {read}.",
        "the same level in both.",
    )


def _check_levels(
    named: Path, sensor: Sensor, black: npt.NDArray[np.float64], white: float
) -> None:
    """Raise where levels cannot be those of these samples."""
    highest = float(black.max())
    if not 0 <= highest < white:
        raise _refused(
            named,
            "raw_levels",
            f"Its black level is {highest:g}, its white level {white:g}.",
            "a white level above the black level.",
        )
    if sensor.max(initial=0) <= white:
        return
    over = float(np.count_nonzero(sensor > white)) / sensor.size
    if over > _OVER_WHITE:
        raise _refused(
            named,
            "raw_levels",
            f"{over:.2%} of its samples are above its white level of {white:g}.",
            "a white level that samples do not pass.",
        )


def _matrix(raw: Any, tagged: raw_tags.Declared | None) -> npt.NDArray[np.float64] | None:
    """Return the matrix from balanced camera colours to linear sRGB, (3, 3)."""
    if tagged is not None and tagged.is_dng and not tagged.matrix:
        return None  # LibRaw has one of its own making then
    from_xyz = np.asarray(raw.rgb_xyz_matrix, np.float64)[:3]
    if np.isfinite(from_xyz).all() and abs(np.linalg.det(from_xyz)) > _SINGULAR:
        camera = from_xyz @ _SRGB_TO_XYZ
        return np.asarray(np.linalg.inv(camera / camera.sum(axis=1, keepdims=True)))
    found = np.asarray(raw.color_matrix, np.float64)[:3, :3]
    if not np.isfinite(found).all() or abs(np.linalg.det(found)) < _SINGULAR:
        return None
    if np.abs(found.sum(axis=1) - 1).max() > _NEUTRAL:
        return None
    return found


def _balance(raw: Any) -> tuple[float, float, float] | None:
    red, green, blue = (float(value) for value in raw.camera_whitebalance[:3])
    if not min(red, green, blue) > 0 or not np.isfinite([red, green, blue]).all():
        return None
    return red / green, 1.0, blue / green


def _header(
    where: Path,
    raw: Any,
    tagged: raw_tags.Declared | None,
    sensor: Sensor,
    pattern: npt.NDArray[np.int64] | None,
    black: npt.NDArray[np.float64],
    white: float,
) -> Header:
    height, width = sensor.shape[:2]
    bits = tagged.bits if tagged else int(white).bit_length()
    with where.open("rb") as stream:
        begins = stream.read(4)
    known = formats.of_dng(tagged.version) if tagged else None
    layout = "".join("RGB"[place] for place in pattern.ravel()) if pattern is not None else None
    masked = raw_masked.over_black(raw, white) if pattern is not None else None
    return Header(
        width=width,
        height=height,
        bits=[bits] if pattern is not None else [bits] * 3,
        samples=1 if pattern is not None else 3,
        colour="raw",
        sample_format="unsigned integer",
        compression=_compression(tagged),
        byte_order="big endian" if begins[:2] == b"MM" else "little endian",
        format_name=known.name if known else "Camera raw file",
        format_version=known.version if known else None,
        puid=(known.puid or None) if known else None,
        icc_name=None,
        icc_sha256=None,
        resolution=None,
        orientation=_ORIENTATIONS.get(raw.sizes.flip, 1),
        software=None,
        capture=_capture(where, raw, tiff=begins in header_size.TIFF_HEADS),
        raw=RawPicture(
            pattern=layout,
            black=[round(float(value), 3) for value in black.ravel()],
            white=white,
            lossy=tagged.is_lossy if tagged else None,
            opcodes=list(tagged.opcodes) if tagged else [],
            masked=None if masked is None else round(masked, 3),
        ),
    )


def _compression(tagged: raw_tags.Declared | None) -> str:
    if tagged is None:
        return "as the camera compresses"
    return _COMPRESSIONS.get(tagged.compression, f"method {tagged.compression}")


def _capture(where: Path, raw: Any, *, tiff: bool) -> Capture:
    """Return what the camera wrote of the capture: its tags, else what LibRaw reads."""
    found = _tagged_capture(where) if tiff else None
    read = _read_capture(raw)
    if found is None:
        return read
    return msgspec.structs.replace(
        found,
        lens=found.lens or read.lens,
        exposure_s=found.exposure_s or read.exposure_s,
        f_number=found.f_number or read.f_number,
        iso=found.iso or read.iso,
        focal_mm=found.focal_mm or read.focal_mm,
        taken=found.taken or read.taken,
    )


def _read_capture(raw: Any) -> Capture:
    """Return what LibRaw reads of the capture, from makers' own notes too."""
    other = raw.other
    return Capture(
        make=None,
        model=None,
        serial=None,
        lens=tags.text(getattr(raw.lens, "model", None)),
        exposure_s=_positive(getattr(other, "shutter_speed", None)),
        f_number=_positive(getattr(other, "aperture", None)),
        iso=_positive(getattr(other, "iso_speed", None)),
        focal_mm=_positive(getattr(other, "focal_length", None)),
        taken=_moment(getattr(other, "timestamp", None)),
        offset=None,
    )


def _moment(value: Any) -> str | None:
    """Return LibRaw's time of the capture; none of before digital cameras, which stand for none."""
    if not isinstance(value, datetime) or value.year < 1990:
        return None
    return value.replace(tzinfo=None, microsecond=0).isoformat()


def _tagged_capture(where: Path) -> Capture | None:
    import logging

    import tifffile

    logging.getLogger("tifffile").setLevel(logging.CRITICAL)
    try:
        with tifffile.TiffFile(where) as tiff:
            return tags.capture(tiff.pages[0])
    except Exception:  # tags of hostile files raise whatever they like; the picture stands
        return None


def _positive(value: Any) -> float | None:
    number = float(value) if isinstance(value, int | float) else 0.0
    return float(f"{number:.9g}") if 0 < number < float("inf") else None


def notes_on(
    header: Header, path: str, *, listed: bool, lossy: Literal["note", "hold"]
) -> list[Finding]:
    """Return what a person should know of a raw file that is accepted.

    listed: whether a checksum list names it. lossy: what becomes of one compressed with loss.
    """
    findings = []
    raw = None if header.raw is UNSET else header.raw
    if raw and raw.lossy:
        what = f"Its samples were compressed with loss ({header.compression})."
        expected = "samples as the sensor gave them."
        advice = "Set the camera to raw without loss; `raw.lossy` says what becomes of such files."
        if lossy == "hold":
            findings.append(Finding("masters.raw_lossy", path, what, expected, advice))
        else:
            findings.append(Finding("masters.note_raw_lossy", path, what, expected, advice, "note"))
    if not listed and (raw is None or raw.lossy is None):
        findings.append(
            Finding(
                "masters.note_raw_unproved",
                path,
                "No checksum list names this raw file, and its kind has no tags that could be "
                "compared: damage to it would show in the picture alone.",
                "a line for it in a checksum list of the batch.",
                "Look at its picture; write a checksum list at the capture station.",
                "review",
            )
        )
    if raw and raw.masked is not None and abs(raw.masked) > _MASKED_APART * raw.white:
        findings.append(_black_apart(path, raw.masked, raw))
    if raw and raw.opcodes:
        findings.append(
            Finding(
                "masters.note_raw_opcodes",
                path,
                "The camera left corrections of its own to be done (of the lens, of pixels); they "
                "are not applied.",
                "the sensor's values, corrected by the session's own captures alone.",
                "Nothing, where the session has a capture of the bare light table.",
                "note",
            )
        )
    return findings


def _black_apart(path: str, masked: float, raw: RawPicture) -> Finding:
    return Finding(
        "masters.note_raw_black",
        path,
        f"Its sites that no light reaches lie {masked:+.0f} DN from the black level of "
        f"{_listed(np.asarray(raw.black))} that it states; it is developed with the level stated.",
        f"masked sites at the black level, within {_MASKED_APART:.1%} of the white level.",
        "Compare it with a capture in the dark (`raw.dark_names`), and with the camera's own "
        "software: where the stated level is wrong, dense parts of the film come out wrong.",
        "review",
    )
