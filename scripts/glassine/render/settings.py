"""The settings that render uses, as types: made once where the step begins.

What they mean and what they are by default stands in config/config.schema.yaml, by the same names.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Self


@dataclass(frozen=True)
class FilmStock:
    """What is known of a film, per channel red, green, blue; None where it is not.

    slopes: density per log10 of exposure; dmin: density; balance: log10 of exposure.
    """

    slopes: tuple[float, ...] | None = None
    dmin: tuple[float, ...] | None = None
    balance: tuple[float, ...] | None = None

    @classmethod
    def of(cls, stock: Mapping[str, Any]) -> Self:
        return cls(*(_channels(stock.get(name)) for name in ("slopes", "dmin", "balance")))


def _channels(values: Any) -> tuple[float, ...] | None:
    """Return values per channel; none are as good as not stated."""
    return tuple(values) if values else None


@dataclass(frozen=True)
class ToneSettings:
    """Section `tone`.

    balance_limit: log10 of exposure; toe: share of the exposure at D-min; shoulder_start,
    black_limit: linear light (white = 1); film_stocks: by the name in batch.yaml.
    """

    monochrome_channel: str
    negative_primaries: str
    balance_limit: float
    toe: float
    shoulder_start: float
    black_limit: float
    film_stocks: Mapping[str, FilmStock] = field(default_factory=dict)

    @classmethod
    def of(cls, section: Mapping[str, Any]) -> Self:
        """Raises KeyError where the section is not complete."""
        return cls(
            section["monochrome_channel"],
            section["negative_primaries"],
            section["balance_limit"],
            section["toe"],
            section["shoulder_start"],
            section["black_limit"],
            {name: FilmStock.of(stock) for name, stock in section["film_stocks"].items()},
        )


@dataclass(frozen=True)
class PictureSettings:
    """Section `render`. Long edges in px, qualities of JPEG and others 1 to 100."""

    access_long_edge: int | None
    access_ppi: float | None
    access_quality: int
    progressive: bool
    thumb_long_edge: int
    thumb_quality: int
    margin_mm: float
    keystone_min_deg: float | None
    sharpen: float
    alternates: tuple[str, ...]
    alternate_quality: int
    crop_tiff: str
    blank: str

    @classmethod
    def of(cls, section: Mapping[str, Any]) -> Self:
        """Raises KeyError where the section is not complete."""
        return cls(
            access_long_edge=section["access_long_edge"],
            access_ppi=section["access_ppi"],
            access_quality=section["access_quality"],
            progressive=section["progressive"],
            thumb_long_edge=section["thumb_long_edge"],
            thumb_quality=section["thumb_quality"],
            margin_mm=section["margin_mm"],
            keystone_min_deg=section["keystone_min_deg"],
            sharpen=section["sharpen"],
            alternates=tuple(section["alternates"]),
            alternate_quality=section["alternate_quality"],
            crop_tiff=section["crop_tiff"],
            blank=section["blank"],
        )


@dataclass(frozen=True)
class TileSettings:
    """Section `iiif`. tile_px: side of a tile; quality: of JPEG, 1 to 100."""

    form: str
    image_api: str
    tile_px: int
    quality: int
    base_url: str

    @classmethod
    def of(cls, section: Mapping[str, Any]) -> Self:
        """Raises KeyError where the section is not complete."""
        return cls(
            section["form"],
            section["image_api"],
            section["tile_px"],
            section["quality"],
            section["base_url"],
        )


@dataclass(frozen=True)
class QualitySettings:
    """Section `quality`. level: 1 (least) to 4; limits: file of limits, None for the project's."""

    level: int
    limits: str | None = None

    @classmethod
    def of(cls, section: Mapping[str, Any]) -> Self:
        """Raises KeyError where the section is not complete."""
        return cls(section["level"], section.get("limits") or None)


@dataclass(frozen=True)
class RenderSettings:
    """All sections that render uses. derivative: the template of `naming.derivative`."""

    picture: PictureSettings
    tone: ToneSettings
    tiles: TileSettings
    quality: QualitySettings
    derivative: str

    @classmethod
    def of(cls, settings: Mapping[str, Any]) -> Self:
        """Raises KeyError where a section or setting is missing."""
        return cls(
            PictureSettings.of(settings["render"]),
            ToneSettings.of(settings["tone"]),
            TileSettings.of(settings["iiif"]),
            QualitySettings.of(settings["quality"]),
            settings["naming"]["derivative"],
        )
