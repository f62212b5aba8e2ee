"""Put metadata into the rendered images and give them their place: access/, thumbs/, and
alternates/ where further formats were asked for, studio/ for those that the settings do not
deliver. Those of an item of which no picture may be
public lie in restricted/, for the studio alone: no package takes that folder.

The coded pixels stay as render made them, byte for byte; nothing of the clock goes in,
so the same item gives the same files.
"""

from __future__ import annotations

import contextlib
import hashlib
import re
import uuid
from collections.abc import Iterator
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import msgspec
from msgspec import UNSET

from glassine import __version__
from glassine.base import alternates, files, formats, hashing, premis_event, record_files, rights
from glassine.base.access import OPEN, RESTRICTED, STUDIO, Access
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import ItemGeometry, MasterGeometry
from glassine.base.records.catalogue import NO_ROW, CatalogueRow, Levels, Place
from glassine.base.records.embedded import Embedded, EmbeddedFile, Origin
from glassine.base.records.fixity import Fixity, VerifiedMaster
from glassine.base.records.given import Institution
from glassine.base.records.parts import Event
from glassine.base.records.render import (
    Alternate,
    Picture,
    RenderedFrame,
    Rendering,
    WrittenFile,
)
from glassine.embed import described, jpeg
from glassine.embed.facts import Technical, Words, unusable
from glassine.embed.given import EmbedGiven

VERSION = "4"
_PACKAGES = ("lxml", "piexif")
FOLDERS = {"access": "access", "thumb": "thumbs"}
# A year, month or day as XMP and IPTC know dates; EDTF's seasons (21 to 41) are none.
_EXACT_DATE = re.compile(r"\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?)?")


def words_of(
    item: str,
    catalogued: CatalogueRow | None,
    institution: Institution,
    defaults: dict[str, Any],
    access: Access = OPEN,
) -> Words:
    """Return what the catalogue and the institution say; without a row the item's id, the
    institution and its own rights.

    catalogued: the item's row. defaults: the settings of `rights`, for what the catalogue leaves
    open (`rights.resolved`). access: who may see the item; it leads what is told of use.
    """
    row = catalogued or NO_ROW
    # No row states nothing; the rights of an empty one would say "unknown".
    item_rights = rights.resolved(
        msgspec.structs.asdict(catalogued.rights) if catalogued else None, defaults
    )
    edtf = row.edtf or ""
    people = row.people or ()
    return Words(
        title=row.title,
        description=row.description,
        creators=tuple(creator.name for creator in row.creators),
        creator_uris=tuple(creator.uri for creator in row.creators),
        subjects=(*(each.term for each in row.subjects), *(each.name for each in people)),
        about=(
            *((each.term, each.uri) for each in row.subjects if each.uri),
            *((each.name, each.uri) for each in people if each.uri),
        ),
        places=tuple((place.name, place.uri) for place in row.places),
        place_levels=tuple(_levels(place) for place in row.places),
        identifier=item,
        date_iso=edtf if _EXACT_DATE.fullmatch(edtf) else "",
        date_text=row.date_text or edtf,
        copyright_notice=item_rights.notice,
        usage_terms=". ".join(
            text for text in (access.sentence_if_restricted(), item_rights.terms) if text
        ),
        web_statement=item_rights.uri,
        marked=item_rights.marked,
        credit=item_rights.credit or institution.name,
        source=institution.name,
        contact_url=institution.homepage,
        contact_email=institution.contact,
    )


def _levels(place: Place) -> tuple[str, ...]:
    """Return country, state, city and section of a place; IPTC has no field for a county, which
    stands where no state does."""
    levels = place.levels or Levels()
    return (levels.country, levels.state or levels.county, levels.city, levels.section)


def _texts(value: object) -> str:
    if isinstance(value, tuple):
        return " ".join(_texts(part) for part in value)
    return value if isinstance(value, str) else ""


def _require_usable(item: str, words: Words) -> None:
    bad = {part.name: unusable(_texts(getattr(words, part.name))) for part in fields(words)}
    findings = [
        Finding(
            "embed.character",
            item,
            f"The catalogue's {name.replace('_', ' ')} holds {', '.join(letters[:5])}.",
            "characters that XML can hold (no control characters).",
            "Remove them in the catalogue record and run again.",
        )
        for name, letters in bad.items()
        if letters
    ]
    if findings:
        raise GlassineError(findings)


def _rendered(item_dir: Path, entry: WrittenFile) -> bytes:
    """Return the bytes of a rendered file, which must be those that render noted."""
    path = files.inside(item_dir, f"render/{entry.name}")
    try:
        data = path.read_bytes()
    except OSError as problem:
        raise _missing(path, problem) from problem
    _require_same(path, hashlib.sha256(data).hexdigest(), entry)
    return data


def _missing(path: Path, problem: OSError) -> GlassineError:
    return GlassineError.because(
        "embed.missing",
        path,
        f"The rendered image cannot be read: {problem.strerror}.",
        "the file that render noted in render.json.",
        "Remove the folder render/ of this item in the results; the next run renders it again.",
    )


def _require_same(path: Path, digest: str, entry: WrittenFile) -> None:
    if digest != entry.sha256:
        raise GlassineError.because(
            "embed.digest",
            path,
            "The rendered image is not what render wrote: its SHA-256 differs.",
            f"SHA-256 {entry.sha256}.",
            "Check the disk, then remove the folder render/ of this item in the results; the next "
            "run renders it again.",
        )


def _ppi(frame: RenderedFrame, entry: WrittenFile) -> float | None:
    """Return the file's pixels per inch of the object: the frame's, as far as it was reduced."""
    if not frame.ppi or not frame.width:
        return None
    width = frame.width
    if isinstance(entry, Alternate) and entry.of_width is not UNSET:
        width = entry.of_width
    return round(float(frame.ppi) * float(entry.width) / float(width), 2)


def _digital_source(located: MasterGeometry | None, index: int) -> str:
    """Return IPTC's term for what was digitised, from what locate found on a master."""
    if located is None:
        return ""
    if located.kind == "print":
        return "print"
    for frame in located.frames:
        if frame.index == index:
            return "negativeFilm" if frame.polarity == "negative" else "positiveFilm"
    return ""


def _colour_space(profile: bytes) -> int:
    """Return EXIF's ColorSpace: 1 where the ICC profile calls itself sRGB, else uncalibrated."""
    named = b"sRGB" in profile or "sRGB".encode("utf-16-be") in profile
    return 1 if named else 65535


def _identifier(*parts: object) -> str:
    return str(uuid.uuid5(uuid.NAMESPACE_URL, "/".join(str(part) for part in parts)))


def _kind_of(entry: Picture | Alternate) -> str:
    """Return what a picture is among those of its frame."""
    is_one = isinstance(entry, Alternate) and entry.set is not UNSET
    return f"set {entry.set}" if is_one else entry.use  # type: ignore[union-attr]


def _technical(
    frame: RenderedFrame,
    entry: Picture | Alternate,
    colour_space: int,
    components: int,
    context: _ItemContext,
) -> Technical:
    master = context.masters[frame.master]
    digest = master.digests.sha256
    capture = master.header.capture
    return Technical(
        width=entry.width,
        height=entry.height,
        ppi=_ppi(frame, entry),
        colour_space=colour_space,
        software=context.software,
        document_id=_identifier("sha256:" + digest, frame.index, _kind_of(entry)),
        master_id=_identifier("sha256:" + digest),
        master_name=master.path,
        master_sha256=digest,
        pixels_sha256=entry.sha256,
        components=components,
        digital_source=_digital_source(context.located.get(frame.master), frame.index),
        make=capture.make or "",
        model=capture.model or "",
        serial=capture.serial or "",
        lens=capture.lens or "",
        exposure_s=capture.exposure_s,
        f_number=capture.f_number,
        iso=capture.iso,
        focal_mm=capture.focal_mm,
        taken=capture.taken or "",
        offset=capture.offset or "",
    )


@dataclass(frozen=True)
class _ItemContext:
    """What is the same for every file of an item. masters, located, with_iim: by the master's
    path. shown: whether any of its pictures may be public."""

    words: Words
    software: str
    masters: dict[str, VerifiedMaster]
    located: dict[str, MasterGeometry]
    with_iim: dict[str, bool]
    shown: bool


@dataclass(frozen=True)
class _Derivative:
    """One derivative with its metadata, and its entry in embedded.json.

    content: None for an alternate, which is on disk already.
    """

    content: bytes | None
    entry: EmbeddedFile
    shortened: list[str]


def prepare() -> None:
    """Do once a process what would be done for each item."""
    record_files.prepare(Embedded)
    premis_event.software(*_PACKAGES)


def embed_item(batch_dir: Path, item_dir: Path, given: EmbedGiven) -> None:
    """Write access/, thumbs/, embedded.json and, where asked for, alternates/ and studio/.

    Reads render/, fixity.json and geometry.json; never the masters. The event's detail holds all
    that decides the bytes: catalogue record, institution, settings, software; and the facts,
    which render used too. Raises GlassineError for a rendered file that is missing or not what
    render wrote, and for texts that cannot be embedded.
    """
    context = _context_of(item_dir, given)
    _require_usable(given.item, context.words)
    rendering = record_files.load(item_dir / "render" / "render.json", "render", Rendering)
    done = [
        _jpeg(item_dir, frame, entry, context)
        for frame in rendering.frames
        for entry in frame.files
    ]
    for folder in FOLDERS.values() if context.shown else (RESTRICTED,):
        _write(item_dir / folder, [one for one in done if one.entry.path.startswith(f"{folder}/")])
    for folder in (RESTRICTED,) if context.shown else FOLDERS.values():
        if (item_dir / folder).is_dir():
            files.remove_tree(item_dir / folder)
    for folder in (alternates.FOLDER, STUDIO):
        done += _alternates(item_dir, folder, rendering.frames, context)
    detail = {
        "catalogue": given.catalogue,
        "facts": {master.path: master.facts_or(given.facts).as_dict() for master in given.masters},
        "institution": given.institution or {},
        "settings": given.settings_recorded(),
        "software": context.software,
        "step": VERSION,
        **({"access": msgspec.to_builtins(given.access)} if given.access != OPEN else {}),
        "shortened": {one.entry.path: one.shortened for one in done if one.shortened},
    }
    event = premis_event.event("metadata modification", detail, packages=_PACKAGES)
    record = Embedded(
        item=given.item,
        event=msgspec.convert(event, Event),
        files=[one.entry for one in done],
    )
    record_files.save(item_dir / "embedded.json", "embedded", record)


def _write(folder: Path, derivatives: list[_Derivative]) -> None:
    with files.replacing_folder(folder) as temporary:
        for one in derivatives:
            if one.content is not None:
                (temporary / one.entry.path.partition("/")[2]).write_bytes(one.content)


def _context_of(item_dir: Path, given: EmbedGiven) -> _ItemContext:
    geometry = ItemGeometry.from_dict(files.read_json(item_dir / "geometry.json"))
    fixity = record_files.load(item_dir / "fixity.json", "fixity", Fixity)
    parts = {master.path: master.part for master in given.masters}
    return _ItemContext(
        words=words_of(
            given.item,
            given.catalogue_row(),
            given.institution_details(),
            given.rights(),
            given.access,
        ),
        software=given.software or f"Glassine {__version__}",
        masters={master.path: master for master in fixity.masters},
        located={master.path: master for master in geometry.masters},
        with_iim={
            each.path: given.with_iim(each.kind, parts.get(each.path)) for each in geometry.masters
        },
        shown=given.access.public != "none",
    )


def _jpeg(
    item_dir: Path, frame: RenderedFrame, entry: Picture, context: _ItemContext
) -> _Derivative:
    data = _rendered(item_dir, entry)
    with _encoding(entry):
        colour_space = _colour_space(jpeg.icc_profile(data))
        technical = _technical(frame, entry, colour_space, jpeg.components(data), context)
        content, shortened = described.in_jpeg(
            data, context.words, technical, context.with_iim[frame.master]
        )
    file_format = formats.identify_bytes(content)
    assert file_format is not None  # a JPEG that was just taken apart
    digests = hashing.of_bytes(content)
    folder = FOLDERS[entry.use] if context.shown else RESTRICTED
    written = _entry(frame, entry, folder, file_format, digests, context)
    return _Derivative(content, written, shortened)


@contextlib.contextmanager
def _encoding(entry: WrittenFile) -> Iterator[None]:
    """Say in plain words where metadata does not go into a file."""
    try:
        yield
    except ValueError as problem:
        raise GlassineError.because(
            "embed.encode",
            f"render/{entry.name}",
            f"Metadata cannot be embedded: {problem}.",
            "a whole image file, and texts that it can hold.",
            "Shorten the texts named, or render the item again.",
        ) from problem


def _alternates(
    item_dir: Path, name: str, frames: list[RenderedFrame], context: _ItemContext
) -> list[_Derivative]:
    """Write the folder `name` of the item; remove it where nothing is made for it any more."""
    folder = item_dir / name
    own = [
        (frame, entry)
        for frame in frames
        for entry in frame.alternates
        if _folder_of(entry) == name
    ]
    if not own:
        if folder.is_dir():
            files.remove_tree(folder)
        return []
    with files.replacing_folder(folder) as temporary:
        return [_alternate(item_dir, temporary, frame, entry, context) for frame, entry in own]


def _folder_of(entry: Alternate) -> str:
    return STUDIO if entry.delivered is False else alternates.FOLDER


def _alternate(
    item_dir: Path, folder: Path, frame: RenderedFrame, entry: Alternate, context: _ItemContext
) -> _Derivative:
    source, target = files.inside(item_dir, f"render/{entry.name}"), folder / entry.name
    try:
        opened = source.open("rb")
    except OSError as problem:
        raise _missing(source, problem) from problem
    with opened, _encoding(entry):
        space = _colour_space(described.icc_profile(opened, entry.use))
        bands = described.components(opened, entry.use, frame.tone.bands if frame.tone else 3)
        technical = _technical(frame, entry, space, bands, context)
        copied = described.copy(
            opened, target, entry.use, context.words, technical, context.with_iim[frame.master]
        )
    _require_same(source, copied.original, entry)
    file_format = formats.identify(target)
    written = _entry(frame, entry, _folder_of(entry), file_format, copied.digests, context)
    return _Derivative(None, written, copied.shortened)


def _entry(
    frame: RenderedFrame,
    entry: Picture | Alternate,
    folder: str,
    file_format: formats.Format,
    digests: hashing.Digests,
    context: _ItemContext,
) -> EmbeddedFile:
    master = context.masters[frame.master]
    return EmbeddedFile(
        use=entry.use,
        path=f"{folder}/{entry.name}",
        master=frame.master,
        index=frame.index,
        width=entry.width,
        height=entry.height,
        bytes=digests.bytes,
        sha256=digests.sha256,
        sha512=digests.sha512,
        puid=file_format.puid,
        format_name=file_format.name,
        format_version=file_format.version,
        derived_from=Origin(path=master.path, sha256=master.digests.sha256),
    )
