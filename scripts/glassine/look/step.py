"""What is seen of an item's negatives, left for the pooling of films."""

from __future__ import annotations

from pathlib import Path

import msgspec
from msgspec import UNSET

from glassine.base import files, processor, record_files
from glassine.base.errors import GlassineError
from glassine.base.model import Facts, Frame, ItemGeometry, MasterGeometry
from glassine.base.records.films import FilmValues
from glassine.base.records.fixity import Fixity, VerifiedMaster
from glassine.base.records.given import StatedMaster
from glassine.base.records.looks import FrameLook, Looks, MasterLooks
from glassine.base.tone import Channels
from glassine.look import compact
from glassine.look.given import LookGiven
from glassine.masters import colour, developed, opening, pixels
from glassine.render import pool
from glassine.render.estimate import Known, estimate, primaries_of
from glassine.render.given import FilmStock, ToneSection
from glassine.render.looks import look
from glassine.render.negative_film import bands_of, base_of

VERSION = "3"
RECORD = "looks.json"
# Digits after the point of a density of film base.
_DIGITS = 6


def prepare() -> None:
    """Do once a process what would be done for each item."""
    record_files.prepare(Looks, Fixity)


def look_item(batch_dir: Path, item_dir: Path, given: LookGiven) -> None:
    """Write looks.json of an item; it names no master where its negatives share no film.

    Reads geometry.json and fixity.json, and the pixels of masters with negatives. Raises
    GlassineError where a master is not what verify saw, or does not decode.
    """
    processor.same_everywhere()
    looks: list[MasterLooks] = []
    if given.pools:
        geometry = ItemGeometry.from_dict(files.read_json(item_dir / "geometry.json"))
        verified = record_files.load(item_dir / "fixity.json", "fixity", Fixity)
        located = {entry.path: entry for entry in geometry.masters}
        fixity = {entry.path: entry for entry in verified.masters}
        for stated in given.masters:
            if stated.path not in located or stated.path not in fixity:
                raise _unknown(stated.path)
            frames = shown_negatives(located[stated.path], stated.facts_or(given.facts))
            if frames:
                master = _Seen(stated, located[stated.path], fixity[stated.path])
                looks.append(_master_looks(batch_dir, item_dir, master, given, frames))
    record_files.save(item_dir / RECORD, "looks", Looks(item=given.item, masters=looks))


def shown_negatives(geometry: MasterGeometry, facts: Facts) -> list[Frame]:
    """Return the negatives of a master that show something (neither blank nor excluded) and may
    share a film: one that somebody names, or one of colour whose base is seen."""
    told = bool(geometry.base_regions)
    return [
        frame
        for frame in geometry.frames
        if frame.polarity == "negative" and not frame.blank and not frame.excluded
        if facts.film or (told and frame.process == "colour")
    ]


class _Seen(msgspec.Struct, frozen=True):
    """A master with what the steps before said of it."""

    stated: StatedMaster
    geometry: MasterGeometry
    verified: VerifiedMaster


def _master_looks(
    batch_dir: Path, item_dir: Path, master: _Seen, given: LookGiven, frames: list[Frame]
) -> MasterLooks:
    stated = master.stated
    path = developed.picture_of(batch_dir, item_dir, stated.path, stated.raw)
    facts = master.stated.facts_or(given.facts)
    try:
        icc = opening.icc_profile(opening.open_image(path))
    except OSError as problem:
        raise _unreadable(master.stated.path, problem) from problem
    with pixels.opened(path, master.verified.header, scratch=item_dir) as source:
        encoding = colour.encoding_of(icc, facts.encoding, source.bits, source.bands)
        base = tuple(
            tuple(round(value, _DIGITS) for value in region)
            for region in base_of(source, master.geometry, encoding)
        )
        kept = [compact.kept(look(source, frame, encoding)) for frame in frames]
        bands, primaries = source.bands, primaries_of(encoding)
    return MasterLooks(
        master=master.stated.path,
        kind=master.geometry.kind,
        bands=bands,
        encoding=encoding.describe,
        base=list(base),
        primaries=primaries,
        facts=facts,
        alone=alone(kept, base, primaries, facts, given.settings.tone),
        frames=kept,
        edge_stock=edge_stock_of(master.geometry) or UNSET,
    )


def edge_stock_of(geometry: MasterGeometry) -> str | None:
    """Return the kind of film that the margins of a master show, None where they show none or
    several."""
    stocks = {edge.stock for edge in geometry.edges if edge.stock is not None}
    return next(iter(stocks)) if len(stocks) == 1 else None


def alone(
    kept: list[FrameLook],
    base: tuple[Channels, ...],
    primaries: tuple[Channels, ...] | None,
    facts: Facts,
    settings: ToneSection,
) -> list[FilmValues]:
    """Return the films as the frames of this master alone show them, by process. primaries: of
    its profile, None for a grey master."""
    found = []
    bands = 1 if primaries is None else 3
    for process in sorted({frame.process for frame in kept}):
        looks = [compact.read(frame, bands) for frame in kept if frame.process == process]
        stock = settings.film_stocks.get(facts.film_stock or "", FilmStock())
        channels = bands_of(process, bands, settings)
        film = estimate(looks, Known(process, channels, base, facts, stock, primaries))
        found.append(pool.values_of(film))
    return found


def _unknown(path: str) -> GlassineError:
    return GlassineError.because(
        "look.records",
        path,
        "fixity.json or geometry.json of the item does not know this master.",
        "records made from the same masters.",
        "Delete both files in the item's results; the next run makes them again.",
    )


def _unreadable(path: str, problem: OSError) -> GlassineError:
    return GlassineError.because(
        "look.unreadable",
        path,
        f"The master cannot be opened: {problem.strerror or problem}.",
        "the file that was verified.",
        "Check the disk, the share and the rights, then run again.",
    )
