"""Colour encodings of masters: what a code value means in linear light.

Embedded ICC profiles (ICC.1:2022) of the classes input, display and colour space are read:
matrix/TRC and grey profiles by their own curves, profiles with lookup tables (A2B) through
the colour engine of libvips. A master without a profile has the encoding that batch.yaml states.

Linear light is relative: 1.0 is the profile's white, which for a master on a light table is
the bare table as the capture was exposed.
"""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any, Literal

import cv2
import numpy as np
import numpy.typing as npt
import pyvips

from glassine.base.errors import GlassineError
from glassine.base.tone import StatedEncoding

Floats = npt.NDArray[np.float64]
Table = npt.NDArray[np.float32]

# No camera or working-space profile comes near this; larger ones are refused (a guard).
MAX_PROFILE_BYTES = 16 * 2**20
# A tag table longer than this is damage (ICC.1:2022 section 7.3 defines about 60 tags).
MAX_TAGS = 200
MAX_CURVE_POINTS = 65536
# Encodings that batch.yaml may state for masters without a profile.
STATED = ("srgb", "linear", "gamma-2.2", "gamma-1.8")
# D50 of the profile connection space (ICC.1:2022 section 7.2.16).
D50 = np.array([0.9642, 1.0, 0.8249])


@dataclass(frozen=True)
class Profile:
    """What an ICC profile says of a master's code values.

    kind: "matrix" (curves and colorants), "grey" (one curve) or "table" (A2B lookup).
    curves: one per channel, from code 0..1 to linear light 0..1, as (x, y) samples or an
    exact function's parameters; empty for "table".
    matrix: linear RGB to XYZ (D50), 3 x 3; None for "grey".
    """

    kind: Literal["matrix", "grey", "table"]
    name: str
    sha256: str
    channels: int
    curves: tuple[Curve, ...]
    matrix: tuple[tuple[float, float, float], ...] | None


@dataclass(frozen=True)
class Curve:
    """A tone reproduction curve: sampled points, or a parametric function of ICC.1 10.18.

    points: samples at even steps of 0..1 (one point alone is a gamma); parameters: function
    type and its values g, a, b, c, d, e, f as far as the type has them.
    """

    points: tuple[float, ...] = ()
    function: int | None = None
    parameters: tuple[float, ...] = ()

    def linear(self, code: Floats) -> Floats:
        """Return linear light (clipped to 0..1) of codes 0..1."""
        if self.function is not None:
            return np.clip(_parametric(self.function, self.parameters, code), 0.0, 1.0)
        if not self.points:
            return code
        if len(self.points) == 1:
            return np.asarray(np.power(code, self.points[0]))
        steps = np.linspace(0.0, 1.0, len(self.points))
        return np.asarray(np.interp(code, steps, np.array(self.points)))


def _parametric(function: int, p: tuple[float, ...], x: Floats) -> Floats:
    """Return the parametric curve of ICC.1:2022 table 68; p: g, a, b, c, d, e, f."""
    g = p[0]
    a, b, c, d, e, f = (tuple(p[1:]) + (0.0,) * 6)[:6]
    if function == 0:
        return np.asarray(np.power(x, g))
    power = np.power(np.maximum(a * x + b, 0.0), g)
    if function == 1:
        return np.where(a * x + b >= 0, power, 0.0)
    if function == 2:
        return np.where(a * x + b >= 0, power + c, c)
    if function == 3:
        return np.where(x >= d, power, c * x)
    return np.where(x >= d, power + e, c * x + f)


def _broken(what: str) -> GlassineError:
    return GlassineError.because(
        "tone.profile",
        "embedded ICC profile",
        f"The master's colour profile cannot be used: {what}.",
        "a grey or RGB profile of class input, display or colour space (ICC.1).",
        "Have the studio export the master again with its right profile.",
    )


def _tags(icc: bytes) -> dict[str, bytes]:
    """Return the tags of a profile by signature; raises GlassineError where offsets lie."""
    if not 132 <= len(icc) <= MAX_PROFILE_BYTES or icc[36:40] != b"acsp":
        raise _broken("it is no ICC profile")
    (count,) = struct.unpack(">I", icc[128:132])
    if count > MAX_TAGS or 132 + 12 * count > len(icc):
        raise _broken("its tag table is damaged")
    tags = {}
    for number in range(count):
        signature, offset, size = struct.unpack_from(">4sII", icc, 132 + 12 * number)
        if offset + size > len(icc):
            raise _broken("it is cut short")
        tags[signature.decode("latin-1")] = icc[offset : offset + size]
    return tags


def _curve(tag: bytes | None) -> Curve:
    """Return a `curv` or `para` tag (ICC.1:2022 sections 10.6 and 10.18)."""
    if tag is None or len(tag) < 12:
        raise _broken("a tone curve is missing")
    if tag[:4] == b"curv":
        (count,) = struct.unpack_from(">I", tag, 8)
        if count > MAX_CURVE_POINTS or 12 + 2 * count > len(tag):
            raise _broken("a tone curve is damaged")
        values = np.frombuffer(tag, ">u2", count, 12).astype(float)
        if count == 1:
            return Curve(points=(float(values[0]) / 256.0,))
        return Curve(points=tuple((values / 65535.0).tolist()))
    if tag[:4] == b"para":
        (function,) = struct.unpack_from(">H", tag, 8)
        lengths = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}
        if function not in lengths or 12 + 4 * lengths[function] > len(tag):
            raise _broken("a tone curve is damaged")
        raw = struct.unpack_from(f">{lengths[function]}i", tag, 12)
        return Curve(function=int(function), parameters=tuple(value / 65536.0 for value in raw))
    raise _broken("a tone curve has an unknown type")


def _xyz(tag: bytes | None) -> Floats:
    if tag is None or len(tag) < 20 or tag[:4] != b"XYZ ":
        raise _broken("a colorant is missing")
    return np.array(struct.unpack_from(">3i", tag, 8)) / 65536.0


def _name(tags: dict[str, bytes]) -> str:
    """Return the profile's description, printable and short; empty where it has none."""
    tag = tags.get("desc", b"")
    text = ""
    if tag[:4] == b"desc" and len(tag) > 12:
        (length,) = struct.unpack_from(">I", tag, 8)
        text = tag[12 : 12 + min(length, 200)].decode("latin-1")
    elif tag[:4] == b"mluc" and len(tag) >= 28:
        length, offset = struct.unpack_from(">II", tag, 20)
        text = tag[offset : offset + min(length, 400)].decode("utf-16-be", "replace")
    return "".join(mark for mark in text if mark.isprintable())[:200].strip()


@lru_cache(maxsize=16)
def read_profile(icc: bytes) -> Profile:
    """Return what the profile `icc` says.

    Raises GlassineError (`tone.profile`) for damage, for classes that describe no capture
    (output, link, abstract, named colours) and for colour spaces other than grey and RGB.
    """
    tags = _tags(icc)
    space, device_class = icc[16:20], icc[12:16]
    if device_class not in (b"scnr", b"mntr", b"spac"):
        raise _broken("it describes no capture or working space")
    if space not in (b"RGB ", b"GRAY"):
        raise _broken(f"its colour space is {space.decode('latin-1').strip()!r}")
    name, digest = _name(tags), hashlib.sha256(icc).hexdigest()
    if "A2B0" in tags or "A2B1" in tags:
        channels = 3 if space == b"RGB " else 1
        return Profile("table", name, digest, channels, (), None)
    if space == b"GRAY":
        return Profile("grey", name, digest, 1, (_curve(tags.get("kTRC")),), None)
    curves = tuple(_curve(tags.get(f"{letter}TRC")) for letter in "rgb")
    columns = np.stack([_xyz(tags.get(f"{letter}XYZ")) for letter in "rgb"], axis=1)
    if abs(np.linalg.det(columns)) < 1e-6:
        raise _broken("its colorants do not span a colour space")
    matrix = tuple(tuple(float(value) for value in row) for row in columns)
    return Profile("matrix", name, digest, 3, curves, matrix)  # type: ignore[arg-type]


@lru_cache(maxsize=1)
def srgb_profile() -> bytes:
    """Return a small sRGB profile (IEC 61966-2-1), the same bytes every time."""
    return bytes(pyvips.Image.profile_load("srgb"))


def _tag_bytes_curve(points: Floats) -> bytes:
    codes = np.round(np.clip(points, 0, 1) * 65535).astype(">u2").tobytes()
    return b"curv\0\0\0\0" + struct.pack(">I", len(points)) + codes


def _profile_bytes(space: bytes, tags: dict[str, bytes]) -> bytes:
    """Return a display profile, ICC version 2.4, with the given tags; no time of day in it."""
    body, table = b"", b""
    start = 132 + 12 * len(tags)
    for signature, content in tags.items():
        padded = content + b"\0" * (-len(content) % 4)
        table += struct.pack(">4sII", signature.encode(), start + len(body), len(content))
        body += padded
    size = start + len(body)
    header = struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", 0x02400000, b"mntr", space, b"XYZ ")
    header += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp") + b"\0" * 28
    header += struct.pack(">3i", *(round(value * 65536) for value in D50))
    header = header.ljust(128, b"\0")
    return header + struct.pack(">I", len(tags)) + table + body


def _text_tags(name: str) -> dict[str, bytes]:
    text = name.encode("ascii") + b"\0"
    description = b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + b"\0" * 78
    return {
        "desc": description,
        "cprt": b"text\0\0\0\0Public domain\0",
        "wtpt": b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(value * 65536) for value in D50)),
    }


def made_profile(name: str, points: Floats, matrix: Floats | None) -> bytes:
    """Return a display profile, the same bytes every time.

    points: linear light at even steps of the code, of all channels; matrix: linear RGB to XYZ
    (D50), 3 x 3, None for a grey one.
    """
    curve = _tag_bytes_curve(points)
    if matrix is None:
        return _profile_bytes(b"GRAY", _text_tags(name) | {"kTRC": curve})
    tags = _text_tags(name)
    for number, letter in enumerate("rgb"):
        column = (round(float(value) * 65536) for value in matrix[:, number])
        tags[f"{letter}XYZ"] = b"XYZ \0\0\0\0" + struct.pack(">3i", *column)
    tags |= {f"{letter}TRC": curve for letter in "rgb"}
    return _profile_bytes(b"RGB ", tags)


@lru_cache(maxsize=1)
def grey_profile() -> bytes:
    """Return a grey profile with the sRGB curve, for one-band pictures; the same every time."""
    curve = srgb_to_linear(np.linspace(0.0, 1.0, 1024))
    return made_profile("Grey, sRGB curve", curve, None)


def srgb_to_linear(code: Floats) -> Floats:
    """Return linear light of sRGB codes 0..1 (IEC 61966-2-1:1999, section 5.2)."""
    code = np.asarray(code, float)
    return np.where(code <= 0.04045, code / 12.92, ((np.maximum(code, 0) + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(light: npt.NDArray[Any]) -> Floats:
    """Return sRGB codes 0..1 of linear light; what lies outside 0..1 is clipped."""
    light = np.clip(np.asarray(light, float), 0.0, 1.0)
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)


@lru_cache(maxsize=1)
def srgb_matrix() -> Floats:
    """Return linear sRGB to XYZ (D50), 3 x 3, from the profile that derivatives carry."""
    profile = read_profile(srgb_profile())
    return np.array(profile.matrix)


def stated_curve(encoding: str) -> Curve:
    """Return the curve of an encoding that batch.yaml states (one of STATED)."""
    curves = {
        "srgb": Curve(function=3, parameters=(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)),
        "linear": Curve(),
        "gamma-2.2": Curve(points=(2.2,)),
        "gamma-1.8": Curve(points=(1.8,)),
    }
    if encoding not in curves:
        raise GlassineError.because(
            "tone.encoding",
            "batch.yaml",
            f"The encoding {encoding[:60]!r} is not known.",
            f"one of {', '.join(STATED)}.",
            "Correct `encoding` in batch.yaml.",
        )
    return curves[encoding]


@dataclass(frozen=True)
class Encoding:
    """How a master's codes become linear light, per channel, before any rendering.

    tables: float32, (channels, 2**bits): linear light 0..1 of each code. For a profile with
    lookup tables they apply after `flatten` has brought the codes to 16-bit linear light.
    matrix: linear RGB to linear sRGB, 3 x 3; identity for grey.
    describe: what the record says of it.
    """

    tables: Table
    matrix: Floats
    describe: StatedEncoding
    table_profile: bytes | None = None

    def flatten(self, pixels: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Return `pixels` (h, w, bands) ready for `tables`.

        They are the same pixels, unless the profile works by lookup tables: then uint16
        linear light in the primaries of the profile.
        """
        if self.table_profile is None:
            return pixels
        return _through_tables(pixels, self.table_profile)

    def linear(self, pixels: npt.NDArray[Any]) -> Table:
        """Return linear light of `pixels` (..., bands) in the profile's own primaries."""
        return self._looked_up(self.tables, pixels)

    def density(self, pixels: npt.NDArray[Any]) -> Table:
        """Return the density of `pixels` (..., bands) as float32; see `density`."""
        return self._looked_up(self._densities, pixels)

    def band_density(self, pixels: npt.NDArray[Any], band: int) -> Table:
        """Return the density (...) of one band of `pixels` (..., bands) as float32."""
        return _at(self._densities[band], self.flatten(pixels)[..., band])

    def band_linear(self, pixels: npt.NDArray[Any], band: int) -> Table:
        """Return linear light (...) of one band of `pixels` (..., bands)."""
        return _at(self.tables[band], self.flatten(pixels)[..., band])

    @cached_property
    def _densities(self) -> Table:
        return density(self.tables).astype(np.float32)

    def _looked_up(self, tables: Table, pixels: npt.NDArray[Any]) -> Table:
        flat = self.flatten(pixels)
        bands = flat.shape[-1]
        if _is_large(flat) and flat.ndim == 3 and 2 ** (8 * flat.itemsize) == tables.shape[1]:
            # Exact, as it only looks up; three times as fast as numpy's own.
            table = np.ascontiguousarray(tables[:bands].T)[None]
            found = cv2.LUT(np.ascontiguousarray(flat), table)
            return np.asarray(found, tables.dtype).reshape(flat.shape)
        return np.stack([_at(tables[band], flat[..., band]) for band in range(bands)], axis=-1)


def _is_large(pixels: npt.NDArray[Any]) -> bool:
    """Return whether OpenCV pays off. It takes but some types of samples and no empty pictures."""
    return pixels.dtype in (np.uint8, np.uint16) and pixels.size > 4096


def _at(table: Table, codes: npt.NDArray[Any]) -> Table:
    """Return `table` (codes,) at each of `codes` (...)."""
    if _is_large(codes) and codes.ndim == 2 and 2 ** (8 * codes.itemsize) == len(table):
        found = cv2.LUT(np.ascontiguousarray(codes), np.ascontiguousarray(table)[None])
        return np.asarray(found, table.dtype).reshape(codes.shape)
    return np.asarray(table[codes])


def encoding_of(icc: bytes | None, stated: str | None, bits: int, bands: int) -> Encoding:
    """Return the encoding of a master with `bands` (1 or 3) of `bits` (8 or 16).

    icc: the embedded profile, which counts before what is `stated`; with neither, sRGB is
    assumed and `describe.assumed` is True (the frame then belongs before a person).
    Raises GlassineError where profile and pixels do not belong together.
    """
    if icc is None:
        return _stated_encoding(stated, bits, bands)
    profile = read_profile(icc)
    if profile.channels != bands:
        raise _broken(f"it has {profile.channels} channels and the master {bands}")
    describe = StatedEncoding(
        by="profile", name=profile.name, kind=profile.kind, sha256=profile.sha256
    )
    if profile.kind == "table":
        matrix = table_primaries(icc) if bands == 3 else np.eye(3)
        ramp = np.linspace(0.0, 1.0, 65536, dtype=np.float32)
        to_srgb = np.linalg.inv(srgb_matrix()) @ matrix if bands == 3 else np.eye(3)
        return Encoding(np.stack([ramp] * bands), to_srgb, describe, icc)
    code = np.linspace(0.0, 1.0, 2**bits)
    # Channels mostly share one curve: each is worked out once.
    light = {curve: curve.linear(code).astype(np.float32) for curve in set(profile.curves)}
    tables = np.stack([light[curve] for curve in profile.curves])
    if not np.isfinite(tables).all():
        raise _broken("a tone curve gives no numbers")
    matrix = np.linalg.inv(srgb_matrix()) @ np.array(profile.matrix) if bands == 3 else np.eye(3)
    return Encoding(tables, matrix, describe)


def neutral_tables(encoding: Encoding) -> Table:
    """Return (bands, 65536): linear light 0..1 of 16-bit codes that are equal in all channels.

    encoding: of 16 bits. It is the encoding's own tables, unless the profile works by lookup
    tables: then what the colour engine makes of the greys, which is exact for them alone.
    """
    if encoding.table_profile is None:
        return encoding.tables
    bands = len(encoding.tables)
    grey = np.repeat(np.arange(65536, dtype=np.uint16)[None, :, None], bands, axis=2)
    return np.ascontiguousarray(encoding.linear(grey)[0].T)


def assumption(encoding: Encoding) -> str | None:
    """Return what to tell a person where nothing says how codes become light, else None."""
    if encoding.describe.assumed is not True:
        return None
    return "The master has no colour profile and batch.yaml states no encoding: sRGB assumed."


def _stated_encoding(stated: str | None, bits: int, bands: int) -> Encoding:
    curve = stated_curve(stated or "srgb")
    table = curve.linear(np.linspace(0.0, 1.0, 2**bits)).astype(np.float32)
    describe = StatedEncoding(
        by="batch.yaml" if stated else "assumption", name=stated or "srgb", assumed=stated is None
    )
    return Encoding(np.stack([table] * bands), np.eye(3), describe)


def _vips_with_profile(pixels: npt.NDArray[Any], icc: bytes) -> pyvips.Image:
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels))
    deep = pixels.dtype == np.uint16
    names = {1: ("b-w", "grey16"), 3: ("srgb", "rgb16")}
    image = image.copy(interpretation=names[pixels.shape[-1]][deep])
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", icc)
    return image


def _lab_of(pixels: npt.NDArray[Any], icc: bytes) -> Floats:
    """Return L*a*b* (D50) of `pixels`, relative colorimetric with black point compensation."""
    try:
        lab = _vips_with_profile(pixels, icc).icc_import(
            embedded=True, intent="relative", black_point_compensation=True, pcs="lab"
        )
        return np.asarray(lab.numpy(), np.float64)
    except pyvips.Error as problem:
        raise _broken("the colour engine refuses it") from problem


def _xyz_of_lab(lab: Floats) -> Floats:
    """Return XYZ (D50, white Y = 1) of L*a*b* (CIE 15:2018, section 8.2.1, inverted)."""
    fy = (lab[..., 0] + 16.0) / 116.0
    f = np.stack([fy + lab[..., 1] / 500.0, fy, fy - lab[..., 2] / 200.0], axis=-1)
    delta = 6.0 / 29.0
    return np.asarray(np.where(f > delta, f**3, 3 * delta**2 * (f - 4.0 / 29.0)) * D50)


@lru_cache(maxsize=16)
def _table_primaries(icc: bytes) -> tuple[tuple[float, ...], ...]:
    full = np.eye(3, dtype=np.uint16)[None] * np.uint16(65535)
    columns = np.clip(_xyz_of_lab(_lab_of(full, icc))[0].T, 1e-4, None)
    # Scaled so that equal parts make the white of the connection space.
    scale = np.linalg.solve(columns, D50)
    matrix = columns * scale
    if not np.all(np.isfinite(matrix)) or abs(np.linalg.det(matrix)) < 1e-6 or scale.min() <= 0:
        raise _broken("its tables do not span a colour space")
    return tuple(tuple(float(value) for value in row) for row in matrix)


def table_primaries(icc: bytes) -> Floats:
    """Return linear RGB to XYZ (D50) in the primaries that the profile's tables lead to."""
    return np.array(_table_primaries(icc))


def _through_tables(pixels: npt.NDArray[Any], icc: bytes) -> npt.NDArray[np.uint16]:
    xyz = _xyz_of_lab(_lab_of(pixels, icc))
    grey = pixels.shape[-1] == 1
    light = xyz[..., 1:2] if grey else xyz @ np.linalg.inv(table_primaries(icc)).T
    return np.round(np.clip(light, 0.0, 1.0) * 65535.0).astype(np.uint16)


def density(light: npt.NDArray[Any]) -> Floats:
    """Return D = -log10 T; light: transmittance, 1.0 = bare light table.

    Values below 2**-17 (half a code of 16 bits) count as that: D is at most 5.118.
    ISO 5-1 defines density so; that the geometry of camera and light table is that of
    ISO 5-2 (diffuse) and the channels near ISO 5-3 status M is an assumption.
    """
    return -np.log10(np.maximum(np.asarray(light, np.float64), 2.0**-17))
