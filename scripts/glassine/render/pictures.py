"""The pictures of one frame: tiles, access image, thumbnail, and further ones by option."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base import hashing
from glassine.base.records.parts import AlternateUse
from glassine.base.records.render import Alternate, Picture, Tiles
from glassine.base.tone import AnyTone, Negative
from glassine.masters import colour, pixels, spaces
from glassine.render import encoded, tiles, toning
from glassine.render.given import NO_TILES
from glassine.render.work import Names, Work

Pixels8 = npt.NDArray[np.uint8]
FurtherSpace = Literal["adobergb", "romm", "ecirgb", "linear"]
Space = Literal["srgb", "grey"] | FurtherSpace
# Rows that are toned to 16 bits at once.
_ROWS = 32


@dataclass(frozen=True)
class Shot:
    """One frame about to be made: its pixels, place and tone.

    icc: the master's profile; ppi: of the full-size frame, None where unknown. space: colour space
    of what is made of it, of `alternates.SPACES`, "srgb" (of grey, its curve) or "grey".
    """

    source: pixels.Source
    where: pixels.Placement
    tone: AnyTone
    icc: bytes | None
    ppi: float | None
    space: Space = "srgb"

    @property
    def bands(self) -> int:
        """Bands of what is made of it."""
        return 1 if self.space == "grey" else self.tone.bands

    @property
    def profile(self) -> bytes:
        """The profile of what is made of it."""
        if self.space not in ("srgb", "grey"):
            return spaces.profile(self.space, self.bands)
        return colour.srgb_profile() if self.bands == 3 else colour.grey_profile()

    def eight(self, part: npt.NDArray[Any]) -> Pixels8:
        """Return pixels of the master as they are shown, uint8 (h, w, bands; RGB)."""
        if self.space == "srgb":
            return toning.apply(part, self.tone, self.icc)
        return self._in_space(part, 8)

    def sixteen(self, part: npt.NDArray[Any]) -> npt.NDArray[np.uint16]:
        """Return pixels of the master as they are shown, uint16 (h, w, bands; RGB)."""
        if self.space == "srgb":
            return toning.apply16(part, self.tone, self.icc)
        return self._in_space(part, 16)

    def _in_space(self, part: npt.NDArray[Any], bits: spaces.Bits) -> npt.NDArray[Any]:
        light = toning.light(part, self.tone, self.icc)
        if self.space == "grey":
            return spaces.in_grey(light, bits)
        return spaces.encoded(light, self.space, bits)


@dataclass(frozen=True)
class Whole:
    """A frame at full size and at half, uint8 (height, width, bands; BGR)."""

    picture: Pixels8
    half: Pixels8

    def reduced(self, long_edge: int | None) -> Pixels8:
        """Return it with that long edge; what is at least twice reduced is made of `half`."""
        size = encoded.fitted(self.picture.shape[1], self.picture.shape[0], long_edge)
        small_enough = size[0] <= self.half.shape[1] and size[1] <= self.half.shape[0]
        return encoded.smaller(self.half if small_enough else self.picture, *size)


@dataclass(frozen=True)
class Pictures:
    """What render.json says of a frame's pictures."""

    files: list[Picture]
    alternates: list[Alternate]
    tiles: Tiles | None


def make(
    shot: Shot,
    names: Names,
    work: Work,
    look: Callable[[Whole], None],
    more: Callable[[Whole], list[Alternate]],
) -> Pictures:
    """Make all pictures of one frame.

    look: is shown the whole frame, at the same time as tiles are made of it. more: makes what
    further pictures are asked for of it.
    """
    writer = _tile_writer(shot, names.iiif, work)
    whole = whole_of(shot, writer, work)
    edge = _access_edge(shot, work)
    small: list[Picture] = []
    further: list[Alternate] = []

    def small_ones() -> None:
        reduced = whole.reduced(edge)
        small.extend(_small_files(reduced, shot, names, work))
        further.extend(_alternates(reduced, names, shot, work))
        look(whole)

    tiled = None
    if writer is None:
        small_ones()
        if work.settings.iiif.form == "pyramid":
            further.append(_pyramid(whole.picture, names, shot, work))
    else:
        service = f"{work.settings.iiif.base_url.rstrip('/')}/{names.iiif}"
        tiled = writer.finish(whole.picture, whole.half, service, work.pool, [small_ones])
    if work.settings.render.crop_tiff != "none":
        further.append(_crop_tiff(shot, names, work))
    further += [_in_space(shot, space, names, work) for space in work.settings.render.tiff_spaces]
    if work.settings.render.uninverted and isinstance(shot.tone, Negative):
        further.append(_uninverted(shot, names, work))
    further += more(whole)
    return Pictures(small, further, tiled)


def _tile_writer(shot: Shot, name: str, work: Work) -> tiles.Writer | None:
    """Return what writes the frame's tiles, None where a pyramid or nothing is made in their
    place."""
    settings = work.settings.iiif
    if settings.form in ("pyramid", NO_TILES):
        return None
    form = tiles.Form(
        tile_px=settings.tile_px,
        quality=settings.quality,
        api=settings.image_api,
        icc=shot.profile,
        ppi=shot.ppi,
    )
    return tiles.Writer(work.iiif_dir / name, shot.where.width, shot.where.height, form)


def whole_of(shot: Shot, writer: tiles.Writer | None, work: Work) -> Whole:
    """Return the whole frame; its full-size tiles are written on the way."""
    where, samples = shot.where, shot.bands
    picture = np.empty((where.height, where.width, samples), np.uint8)
    half = np.empty((-(-where.height // 2), -(-where.width // 2), samples), np.uint8)
    rows = work.settings.iiif.tile_px

    def band(top: int) -> None:
        height = min(rows, where.height - top)
        for left in range(0, where.width, pixels.BLOCK):
            width = min(pixels.BLOCK, where.width - left)
            block = pixels.warp(shot.source, where, left, top, width, height)
            _into(
                picture[top : top + height, left : left + width],
                shot.eight(block),
            )
        strip = picture[top : top + height]
        half[top // 2 : (top + height + 1) // 2] = tiles.halved(strip)
        if writer is not None:
            writer.first_band(top, strip)

    pixels.run(work.pool, band, range(0, where.height, rows))
    return Whole(picture, half)


def _into(part: Pixels8, toned: Pixels8) -> None:
    """Put toned RGB (or grey) pixels into their part of the picture, in the encoder's order."""
    if toned.shape[2] == 3:
        cv2.cvtColor(toned, cv2.COLOR_RGB2BGR, dst=part)
    else:
        part[:] = toned


def _access_edge(shot: Shot, work: Work) -> int | None:
    """Return the long edge of the access image: by resolution where asked and known."""
    settings = work.settings.render
    access_ppi, edge = settings.access_ppi, settings.access_long_edge
    return edge_by(access_ppi, edge, "render.access_ppi", shot, work)


def edge_by(
    access_ppi: float | None, edge: int | None, key: str, shot: Shot, work: Work
) -> int | None:
    """Return a long edge in px: at `access_ppi` where asked and known, else `edge`, None for full
    size. key: of the setting, for the note where the resolution is not known."""
    where, ppi = shot.where, shot.ppi
    if access_ppi is not None and not ppi:
        what = f"its long edge ({edge} px)" if edge is not None else "its full size"
        picture = "the access image" if key == "render.access_ppi" else "a picture"
        note = (
            f"The resolution is unknown: {picture} was made by {what}, not at "
            f"{access_ppi:g} ppi as {key} asks."
        )
        if note not in work.notes:
            work.notes.append(note)
    if access_ppi is None or not ppi:
        return int(edge) if edge is not None else None
    share = min(1.0, float(access_ppi) / ppi)
    return max(1, round(max(where.width, where.height) * share))


def _small_files(picture: Pixels8, shot: Shot, names: Names, work: Work) -> list[Picture]:
    """Write access image and thumbnail; return their entries."""
    settings = work.settings.render
    edge = settings.thumb_long_edge
    thumb = encoded.smaller(picture, *encoded.fitted(picture.shape[1], picture.shape[0], edge))
    access = encoded.sharpened(picture, settings.sharpen)

    def written(
        use: Literal["access", "thumb"], pixels8: Pixels8, quality: int, progressive: bool
    ) -> Picture:
        scale = pixels8.shape[1] / shot.where.width
        content = encoded.jpeg(
            pixels8,
            quality,
            ppi=shot.ppi * scale if shot.ppi else None,
            icc=shot.profile,
            progressive=progressive,
        )
        path = work.files_dir / (names.access if use == "access" else names.thumb)
        path.write_bytes(content)
        return Picture(
            use=use,
            name=path.name,
            width=pixels8.shape[1],
            height=pixels8.shape[0],
            bytes=len(content),
            sha256=hashlib.sha256(content).hexdigest(),
        )

    return [
        written("access", access, settings.access_quality, settings.progressive),
        written("thumb", thumb, settings.thumb_quality, progressive=False),
    ]


def _alternates(picture: Pixels8, names: Names, shot: Shot, work: Work) -> list[Alternate]:
    """Write the access image in the further formats that the settings ask for."""
    settings = work.settings.render
    sharp = encoded.sharpened(picture, settings.sharpen)
    entries = []
    for kind in settings.alternates:
        content = encoded.alternate(sharp, kind, settings.alternate_quality, icc=shot.profile)
        path = work.files_dir / _renamed(names.access, kind)
        path.write_bytes(content)
        entries.append(on_disk(path, kind, sharp.shape[1], sharp.shape[0]))
    return entries


def _renamed(name: str, suffix: str) -> str:
    return f"{Path(name).stem}.{suffix}"


def _pyramid(picture: Pixels8, names: Names, shot: Shot, work: Work) -> Alternate:
    """Write the frame as one pyramidal TIFF for an image server."""
    settings = work.settings.iiif
    path = work.files_dir / _renamed(names.pyramid, "tif")
    tile_px, quality_of = settings.tile_px, settings.quality
    encoded.save_pyramid(
        path, picture, tile_px=tile_px, quality=quality_of, icc=shot.profile, ppi=shot.ppi
    )
    return on_disk(path, "pyramid", shot.where.width, shot.where.height)


def _crop_tiff(shot: Shot, names: Names, work: Work) -> Alternate:
    """Write the frame, turned and cropped, as TIFF: as captured with its profile, or toned."""
    path = work.files_dir / _renamed(names.crop, "tif")
    _save_crop(path, shot, work, rendered=work.settings.render.crop_tiff == "rendered")
    return on_disk(path, "crop", shot.where.width, shot.where.height)


def save_deep(path: Path, shot: Shot, work: Work, *, in_runs: bool = False) -> None:
    """Write the frame as it is shown, as TIFF of 16 bits. in_runs: see `encoded.save_crop`."""
    _save_crop(path, shot, work, rendered=True, in_runs=in_runs)


def _save_crop(
    path: Path, shot: Shot, work: Work, *, rendered: bool, in_runs: bool = False
) -> None:
    where, rows = shot.where, work.settings.iiif.tile_px
    samples = shot.bands if rendered else shot.source.bands

    def bands() -> Iterator[npt.NDArray[Any]]:
        for top in range(0, where.height, rows):
            height = min(rows, where.height - top)
            band = pixels.warp(shot.source, where, 0, top, where.width, height)
            yield _sliced(band, shot.sixteen) if rendered else band

    encoded.save_crop(
        path,
        bands(),
        (where.height, where.width, samples),
        rows=rows,
        icc=shot.profile if rendered else shot.icc,
        ppi=shot.ppi,
        in_runs=in_runs,
    )


def _sliced(
    band: npt.NDArray[Any], toned: Callable[[npt.NDArray[Any]], npt.NDArray[np.uint16]]
) -> npt.NDArray[np.uint16]:
    """Return the band toned a few rows at a time: in floating point a whole one is large."""
    return np.concatenate([toned(band[top : top + _ROWS]) for top in range(0, len(band), _ROWS)])


def _in_space(shot: Shot, space: FurtherSpace, names: Names, work: Work) -> Alternate:
    """Write the frame as rendered, as TIFF of 16 bits in a further colour space."""
    path = work.files_dir / _renamed(names.further[space], "tif")
    save_deep(path, replace(shot, space=space), work)
    return on_disk(path, space, shot.where.width, shot.where.height)


def _uninverted(shot: Shot, names: Names, work: Work) -> Alternate:
    """Write the negative as captured, as the access image is made: through its profile to sRGB."""
    captured = replace(shot, tone=toning.uninverted(shot.tone, shot.icc))
    picture = whole_of(captured, None, work).reduced(_access_edge(shot, work))
    settings = work.settings.render
    content = encoded.jpeg(
        encoded.sharpened(picture, settings.sharpen),
        settings.access_quality,
        ppi=shot.ppi * picture.shape[1] / shot.where.width if shot.ppi else None,
        icc=captured.profile,
        progressive=settings.progressive,
    )
    path = work.files_dir / names.further["uninverted"]
    path.write_bytes(content)
    return on_disk(path, "uninverted", picture.shape[1], picture.shape[0])


def on_disk(path: Path, use: AlternateUse, width: int, height: int) -> Alternate:
    """Return the entry of a picture that was written."""
    return Alternate(
        use=use,
        name=path.name,
        width=width,
        height=height,
        bytes=path.stat().st_size,
        sha256=hashing.sha256_of(path),
    )
