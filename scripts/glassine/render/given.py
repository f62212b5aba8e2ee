"""What render is given of an item. Settings mean what config/config.schema.yaml says of them."""

from __future__ import annotations

from typing import Any, Literal

import msgspec

from glassine.base import master_rules
from glassine.base.access import ALL_PUBLIC, PublicPictures
from glassine.base.master_rules import MasterRule
from glassine.base.model import Facts
from glassine.base.records import Given
from glassine.base.records.films import MasterFilm
from glassine.base.records.given import StatedMaster
from glassine.base.records.parts import Number

# In place of a form of tiles, where an item has none.
NO_TILES = "none"
SMALLEST_PX = 100


class FilmStock(Given, frozen=True, kw_only=True):
    """What is known of a film, per channel red, green, blue; None or empty where it is not.

    slopes: density per log10 of exposure of a grey scale; dmin: density; balance: log10 of
    exposure; matrix: 3 x 3, from (D - dmin) / slopes to log10 of exposure.
    """

    slopes: tuple[float, ...] | None = None
    dmin: tuple[float, ...] | None = None
    balance: tuple[float, ...] | None = None
    matrix: tuple[tuple[float, ...], ...] | None = None


class ToneSection(Given, frozen=True, kw_only=True):
    """balance_limit: log10 of exposure; toe: share of the exposure at D-min; shoulder_start,
    black_limit: linear light (white = 1); film_stocks: by the name in batch.yaml.
    restore: whether faded dyes of positives are made up for; settings of old records lack it."""

    monochrome_channel: str
    negative_primaries: str
    balance_limit: float
    toe: Number
    shoulder_start: Number
    black_limit: Number
    film_stocks: dict[str, FilmStock]
    restore: Literal["none", "faded"] = "none"


class PictureSet(Given, frozen=True, kw_only=True):
    """One of `render.sets`: a further picture of each frame. long_edge: px, ppi: of the object;
    neither for full size. effort: of the encoder, 0 to 6. crop, margin_mm: None for those of the
    access image. publish: whether the manifest links to it. deliver: False where it stays with the
    studio. caption: the template of a text below the picture, or over its lowest rows."""

    name: str
    form: Literal["jpeg", "tiff", "webp", "avif", "jp2"]
    long_edge: int | None = None
    ppi: float | None = None
    crop: Literal["picture", "object"] | None = None
    margin_mm: float | None = None
    tone: Literal["positive", "uninverted"] = "positive"
    profile: Literal["srgb", "grey", "adobergb", "romm", "ecirgb", "linear"] = "srgb"
    bits: Literal[8, 16] = 8
    quality: int = 85
    effort: int | None = None
    sharpen: float = 0.0
    publish: bool = False
    deliver: bool = True
    caption: str | None = None
    caption_place: Literal["below", "over"] = "below"


class RenderSection(Given, frozen=True, kw_only=True):
    """Long edges in px, qualities of JPEG and others 1 to 100, margin_mm: about the picture.
    tiff_spaces, uninverted, sets: settings of old records lack them."""

    access_long_edge: int | None
    access_ppi: float | None
    access_quality: int
    progressive: bool
    thumb_long_edge: int
    thumb_quality: int
    margin_mm: float
    keystone_min_deg: float | None
    sharpen: float
    alternates: tuple[Literal["webp", "avif"], ...]
    alternate_quality: int
    crop_tiff: str
    tiff_spaces: tuple[Literal["adobergb", "romm", "ecirgb", "linear"], ...] = ()
    uninverted: bool = False
    blank: str
    sets: tuple[PictureSet, ...] = ()

    @property
    def set_names(self) -> tuple[str, ...]:
        return tuple(each.name for each in self.sets)


class IiifSection(Given, frozen=True, kw_only=True):
    """tile_px: side of a tile; quality: of JPEG, 1 to 100."""

    form: str
    image_api: str
    tile_px: int
    quality: int
    base_url: str


class QualitySection(Given, frozen=True, kw_only=True):
    """level: 1 (least) to 4; limits: file of limits, None for the project's."""

    level: int
    limits: str | None = None


class NamingSection(Given, frozen=True, kw_only=True):
    """derivative: the template of a derivative's name."""

    derivative: str


class Settings(Given, frozen=True, kw_only=True):
    """rules: later ones win."""

    render: RenderSection
    tone: ToneSection
    iiif: IiifSection
    quality: QualitySection
    naming: NamingSection
    rules: tuple[MasterRule, ...] = ()

    def of_master(self, kind: str, part: str | None) -> Settings:
        """Return the settings as the rules make them for a master. kind: as stated or recognised.

        Raises msgspec.ValidationError where a rule states what render cannot take.
        """
        render, iiif = (
            master_rules.keys(self.rules, name, kind, part) for name in ("render", "iiif")
        )
        if not render and not iiif:
            return self
        return msgspec.structs.replace(
            self,
            render=msgspec.convert(msgspec.to_builtins(self.render) | render, RenderSection),
            iiif=msgspec.convert(msgspec.to_builtins(self.iiif) | iiif, IiifSection),
        )


def for_public(settings: Settings, pictures: PublicPictures) -> Settings:
    """Return the settings as they are for an item whose pictures may not all be public: no tiles
    and nothing beside access image and thumbnail; both small where these are public."""
    if pictures.public == "all":
        return settings
    render = msgspec.structs.replace(
        settings.render, alternates=(), crop_tiff="none", tiff_spaces=(), uninverted=False, sets=()
    )
    if pictures.public == "small":
        edge = pictures.small_px or SMALLEST_PX
        render = msgspec.structs.replace(
            render,
            access_long_edge=min(edge, render.access_long_edge or edge),
            access_ppi=None,
            thumb_long_edge=min(edge, render.thumb_long_edge),
        )
    iiif = msgspec.structs.replace(settings.iiif, form=NO_TILES)
    return msgspec.structs.replace(settings, render=render, iiif=iiif)


# The sections that decide about the pictures, as render.json keeps them.
SECTIONS = ("render", "iiif", "tone", "quality", "naming")


class RenderGiven(Given, frozen=True, kw_only=True):
    """settings: the sections as they stand, since render.json keeps them whole. facts: of the
    item, where its masters carry none. films: of its masters whose negatives are of a film that
    other masters share, or are said to be; absent where there are none. public: which of its
    pictures may be public. caption: facts of the item that captions show."""

    item: str
    masters: tuple[StatedMaster, ...]
    settings: dict[str, Any]
    facts: Facts | None = None
    films: tuple[MasterFilm, ...] = ()
    public: PublicPictures = ALL_PUBLIC
    caption: dict[str, str] = msgspec.field(default_factory=dict)

    def chosen(self) -> Settings:
        """Return the settings that render uses. Raises msgspec.ValidationError where one lacks."""
        return msgspec.convert(self.settings, Settings)

    def settings_recorded(self) -> dict[str, Any]:
        """Return the sections that repeat the pictures."""
        recorded = {name: self.settings[name] for name in SECTIONS}
        if self.settings.get("rules"):
            recorded["rules"] = self.settings["rules"]
        return recorded

    def films_of(self, master: str) -> dict[str, MasterFilm]:
        """Return the films of a master's negatives by their process."""
        return {film.process: film for film in self.films if film.master == master}
