"""Camera raw files of known truth: linear light through fall-off, Bayer's pattern, noise, pixels that
do not work and 14 bits, into DNG (Digital Negative specification 1.4.0.0, TIFF 6.0)."""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from makers import lossless_jpeg

Light = npt.NDArray[np.float64]
PATTERNS = {"RGGB": (0, 1, 1, 2), "BGGR": (2, 1, 1, 0), "GRBG": (1, 0, 2, 1), "GBRG": (1, 2, 0, 1)}
# XYZ (D65) to an invented camera's colours, rows red, green, blue.
MATRIX = ((0.78, -0.21, -0.06), (-0.38, 1.22, 0.17), (-0.05, 0.19, 0.61))
# The lamp of the table as that camera sees it, share of the green.
LAMP = (0.52, 1.0, 0.71)


@dataclass(frozen=True)
class Camera:
    """black, white: DN. full_well: electrons at white, read_noise: electrons; 0 is no noise.
    fall_off: share of light lost in the corner. dead: share of pixels that are dead or hot."""

    pattern: str = "RGGB"
    black: float = 512.0
    white: float = 16383.0
    full_well: float = 40_000.0
    read_noise: float = 4.0
    fall_off: float = 0.35
    dead: float = 0.0
    seed: int = 7


@dataclass(frozen=True)
class Shot:
    """What the camera writes of a capture."""

    exposure_s: tuple[int, int] = (1, 60)
    f_number: tuple[int, int] = (8, 1)
    iso: int = 100
    taken: str = "2026:03:17 10:00:00"
    serial: str = "PE-0001"
    lens: str = "Copy 80"
    orientation: int = 1
    more: tuple[tuple[int, int, int, bytes], ...] = field(default=())


def fall_off(height: int, width: int, lost: float) -> Light:
    """Return the share of light at each pixel: cos^4 of an angle, `lost` in the corner."""
    y = (np.arange(height) + 0.5) / height * 2 - 1
    x = (np.arange(width) + 0.5) / width * 2 - 1
    across = (x[None] ** 2 * (width / height) ** 2 + y[:, None] ** 2) / ((width / height) ** 2 + 1)
    tangent = (1 - lost) ** -0.5 - 1  # cos^4 = 1 / (1 + tan^2)^2
    return 1 / (1 + across * tangent) ** 2


def exposed(light: Light, camera: Camera, seed: int = 0) -> npt.NDArray[np.uint16]:
    """Return the samples, DN. light: (h, w, 3) at the middle of the picture, 1 saturates."""
    height, width = light.shape[:2]
    random = np.random.default_rng((camera.seed, seed))
    seen = light * fall_off(height, width, camera.fall_off)[..., None]
    mosaic = np.empty((height, width))
    for place, colour in enumerate(PATTERNS[camera.pattern]):
        down, across = divmod(place, 2)
        mosaic[down::2, across::2] = seen[down::2, across::2, colour]
    if camera.full_well:
        electrons = random.poisson(np.clip(mosaic, 0, 4) * camera.full_well)
        noise = random.normal(0, camera.read_noise, mosaic.shape)
        mosaic = (electrons + noise) / camera.full_well
    samples = np.rint(camera.black + mosaic * (camera.white - camera.black))
    for mask, value in zip(not_working(height, width, camera), (0.0, camera.white), strict=True):
        samples[mask] = value
    return np.clip(samples, 0, camera.white).astype(np.uint16)


def not_working(height: int, width: int, camera: Camera) -> tuple[Light, Light]:
    """Return which pixels are dead, and which hot, (h, w) each; the same in all captures."""
    chance = np.random.default_rng(camera.seed + 1000).random((height, width))
    return chance < camera.dead / 2, (chance >= camera.dead / 2) & (chance < camera.dead)


def _rational(*pairs: tuple[int, int], signed: bool = False) -> bytes:
    return b"".join(struct.pack("<2i" if signed else "<2I", *pair) for pair in pairs)


def _text(words: str) -> tuple[int, bytes]:
    content = words.encode() + b"\0"
    return len(content), content


Entry = tuple[int, int, int, bytes]


def _directory(entries: list[Entry], at: int) -> bytes:
    """Return a directory that begins at byte `at`, and its values behind it."""
    entries = sorted(entries)
    after = at + 2 + 12 * len(entries) + 4
    head, beside = struct.pack("<H", len(entries)), b""
    for tag, kind, count, value in entries:
        held = value.ljust(4, b"\0")
        if len(value) > 4:
            held = struct.pack("<I", after + len(beside))
            beside += value + b"\0" * (len(value) % 2)
        head += struct.pack("<HHI", tag, kind, count) + held
    return head + struct.pack("<I", 0) + beside


def _pieces(parts: list[bytes], side: tuple[int, int], *, tiled: bool) -> list[Entry]:
    """Return the tags of strips or tiles; where they begin is filled in later. side: width and
    length of a tile, or of the one strip."""
    count = len(parts)
    places = struct.pack(f"<{count}I", *([0] * count))
    lengths = struct.pack(f"<{count}I", *map(len, parts))
    if tiled:
        sides = [(322, 4, 1, struct.pack("<I", side[0])), (323, 4, 1, struct.pack("<I", side[1]))]
        return [*sides, (324, 4, count, places), (325, 4, count, lengths)]
    rows = (278, 4, 1, struct.pack("<I", side[1]))
    return [(273, 4, count, places), rows, (279, 4, count, lengths)]


def dng(
    samples: npt.NDArray[np.uint16],
    camera: Camera,
    shot: Shot | None = None,
    *,
    left_out: tuple[int, ...] = (),
    lossless: bool = False,
) -> bytes:
    """Return a DNG: of a mosaic (h, w), or linear (h, w, 3). left_out: tags that are not written.
    lossless: in tiles of lossless JPEG, else one uncompressed strip."""
    shot = shot or Shot()
    height, width = samples.shape[:2]
    parts, side = [samples.astype("<u2").tobytes()], (width, height)
    if lossless:
        parts, side = lossless_jpeg.tiles(samples, 16)
    data = b"".join(parts)
    colours = samples.shape[2] if samples.ndim == 3 else 1
    exif: list[Entry] = [
        (33434, 5, 1, _rational(shot.exposure_s)),
        (33437, 5, 1, _rational(shot.f_number)),
        (34855, 3, 1, struct.pack("<H", shot.iso)),
        (36864, 7, 4, b"0230"),
        (36867, 2, *_text(shot.taken)),
        (42033, 2, *_text(shot.serial)),
        (42036, 2, *_text(shot.lens)),
    ]
    matrix = [(round(value * 10000), 10000) for row in MATRIX for value in row]
    main: list[Entry] = [
        (254, 4, 1, struct.pack("<I", 0)),
        (256, 4, 1, struct.pack("<I", width)),
        (257, 4, 1, struct.pack("<I", height)),
        (258, 3, colours, struct.pack(f"<{colours}H", *([16] * colours))),
        (259, 3, 1, struct.pack("<H", 7 if lossless else 1)),
        (262, 3, 1, struct.pack("<H", 32803 if colours == 1 else 34892)),
        (271, 2, *_text("Port Ellery Works")),
        (272, 2, *_text("Table Camera 1")),
        (274, 3, 1, struct.pack("<H", shot.orientation)),
        (277, 3, 1, struct.pack("<H", colours)),
        *_pieces(parts, side, tiled=lossless),
        (34665, 4, 1, struct.pack("<I", 0)),
        (50706, 1, 4, bytes((1, 4, 0, 0))),
        (50707, 1, 4, bytes((1, 4, 0, 0))),
        (50708, 2, *_text("Port Ellery Table Camera 1")),
        (50713, 3, 2, struct.pack("<2H", 1, 1)),
        (50714, 5, colours, _rational(*([(round(camera.black * 100), 100)] * colours))),
        (50717, 4, 1, struct.pack("<I", round(camera.white))),
        (50721, 10, 9, _rational(*matrix, signed=True)),
        (50728, 5, 3, _rational(*((round(each * 10000), 10000) for each in LAMP))),
        (50778, 3, 1, struct.pack("<H", 21)),
        *shot.more,
    ]
    if colours == 1:
        main += [
            (33421, 3, 2, struct.pack("<2H", 2, 2)),
            (33422, 1, 4, bytes(PATTERNS[camera.pattern])),
        ]
    replaced = {entry[0] for entry in shot.more}
    kept = [entry for entry in main if entry[0] not in left_out]
    kept = [e for e in kept if e[0] not in replaced or e in shot.more]
    start = 8 + len(_directory(kept, 8))
    start += len(_directory(exif, start))
    exif_at = 8 + len(_directory(kept, 8))
    starts = [start + sum(map(len, parts[:place])) for place in range(len(parts))]
    placed = {
        324 if lossless else 273: struct.pack(f"<{len(starts)}I", *starts),
        34665: struct.pack("<I", exif_at),
    }
    kept = [(tag, kind, count, placed.get(tag, value)) for tag, kind, count, value in kept]
    return b"II*\0" + struct.pack("<I", 8) + _directory(kept, 8) + _directory(exif, exif_at) + data


def write(
    path: Path, light: Light, camera: Camera, shot: Shot | None = None, seed: int = 0
) -> Path:
    """Write a capture of `light` (h, w, 3), see `exposed`."""
    path.write_bytes(dng(exposed(light, camera, seed), camera, shot))
    return path


def table(height: int, width: int, level: float = 0.8) -> Light:
    """Return the bare table: the lamp's colour, green at `level` of saturation."""
    return np.broadcast_to(np.array(LAMP) * level, (height, width, 3)).copy()


def wedge(height: int, width: int, level: float = 0.8) -> tuple[Light, Light]:
    """Return (light, transmittance): the table, and on it 24 flat patches of coloured film in 4 rows
    of 6, each (h, w, 3)."""
    random = np.random.default_rng(3)
    film = np.ones((height, width, 3))
    rows, columns = height // 4, width // 6
    for place in range(24):
        down, across = divmod(place, 6)
        density = 0.05 + 1.4 * place / 23 + 0.25 * random.random(3)
        top, left = down * rows + rows // 8, across * columns + columns // 8
        film[top : top + rows * 3 // 4, left : left + columns * 3 // 4] = 10.0**-density
    return table(height, width, level) * film, film
