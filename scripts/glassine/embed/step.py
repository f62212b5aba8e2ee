"""Put metadata into the rendered images and give them their place: access/, thumbs/, and
alternates/ where further formats were asked for.

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

from glassine import __version__
from glassine.base import alternates, files, formats, hashing, premis_event, record_files, rights
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import Facts
from glassine.base.tone import Tone
from glassine.embed import described, exif, iim, jpeg, xmp
from glassine.embed.facts import Technical, Words, unusable

VERSION = "3"
FOLDERS = {"access": "access", "thumb": "thumbs"}
# A year, month or day as XMP and IPTC know dates; EDTF's seasons (21 to 41) are none.
_EXACT_DATE = re.compile(r"\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?)?")


def words_of(
    item: str,
    catalogue: dict[str, Any] | None,
    institution: dict[str, Any],
    defaults: dict[str, Any],
) -> Words:
    """Return what the catalogue and the institution say; without a record the item's id, the
    institution and its own rights.

    defaults: the settings of `rights`, for what the catalogue leaves open (`rights.resolved`).
    """
    known = catalogue or {}
    stated = rights.resolved(known.get("rights"), defaults)
    edtf = known.get("edtf") or ""
    return Words(
        title=known.get("title") or "",
        description=known.get("description") or "",
        creators=tuple(person["name"] for person in known.get("creators") or ()),
        subjects=tuple(subject["term"] for subject in known.get("subjects") or ()),
        places=tuple(
            (place["name"], place.get("uri") or "") for place in known.get("places") or ()
        ),
        identifier=item,
        date_iso=edtf if _EXACT_DATE.fullmatch(edtf) else "",
        date_text=known.get("date_text") or edtf,
        copyright_notice=stated.notice,
        usage_terms=stated.terms,
        web_statement=stated.uri,
        marked=stated.marked,
        credit=stated.credit or institution.get("name") or "",
        source=institution.get("name") or "",
        contact_url=institution.get("homepage") or "",
        contact_email=institution.get("contact") or "",
    )


def _texts(value: object) -> str:
    if isinstance(value, tuple):
        return " ".join(_texts(part) for part in value)
    return value if isinstance(value, str) else ""


def _require_usable(item: str, words: Words) -> None:
    bad = {part.name: unusable(_texts(getattr(words, part.name))) for part in fields(words)}
    found = [
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
    if found:
        raise GlassineError(found)


def _rendered(item_dir: Path, entry: dict[str, Any]) -> bytes:
    """Return the bytes of a rendered file, which must be those that render noted."""
    path = files.inside(item_dir, f"render/{entry['name']}")
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


def _require_same(path: Path, found: str, entry: dict[str, Any]) -> None:
    if found != entry["sha256"]:
        raise GlassineError.because(
            "embed.digest",
            path,
            "The rendered image is not what render wrote: its SHA-256 differs.",
            f"SHA-256 {entry['sha256']}.",
            "Check the disk, then remove the folder render/ of this item in the results; the next "
            "run renders it again.",
        )


def _ppi(frame: dict[str, Any], entry: dict[str, Any]) -> float | None:
    """Return the file's pixels per inch of the object: the frame's, as far as it was reduced."""
    if not frame.get("ppi") or not frame.get("width"):
        return None
    return round(float(frame["ppi"]) * float(entry["width"]) / float(frame["width"]), 2)


def _digital_source(located: dict[str, Any], index: int) -> str:
    """Return IPTC's term for what was digitised, from what locate found on a master."""
    if located.get("kind") == "print":
        return "print"
    for frame in located.get("frames", ()):
        if frame["index"] == index:
            return "negativeFilm" if frame["polarity"] == "negative" else "positiveFilm"
    return ""


def _colour_space(profile: bytes) -> int:
    """Return EXIF's ColorSpace: 1 where the ICC profile calls itself sRGB, else uncalibrated."""
    named = b"sRGB" in profile or "sRGB".encode("utf-16-be") in profile
    return 1 if named else 65535


def _identifier(*parts: object) -> str:
    return str(uuid.uuid5(uuid.NAMESPACE_URL, "/".join(str(part) for part in parts)))


def _technical(
    frame: dict[str, Any],
    entry: dict[str, Any],
    colour_space: int,
    components: int,
    known: _Known,
) -> Technical:
    master = known.masters[frame["master"]]
    digest = master["digests"]["sha256"]
    capture = master.get("header", {}).get("capture") or {}
    return Technical(
        width=entry["width"],
        height=entry["height"],
        ppi=_ppi(frame, entry),
        colour_space=colour_space,
        software=known.software,
        document_id=_identifier("sha256:" + digest, frame["index"], entry["use"]),
        master_id=_identifier("sha256:" + digest),
        master_name=master["path"],
        master_sha256=digest,
        pixels_sha256=entry["sha256"],
        components=components,
        digital_source=_digital_source(known.located.get(frame["master"], {}), frame["index"]),
        make=capture.get("make") or "",
        model=capture.get("model") or "",
        serial=capture.get("serial") or "",
        lens=capture.get("lens") or "",
        exposure_s=capture.get("exposure_s"),
        f_number=capture.get("f_number"),
        iso=capture.get("iso"),
        focal_mm=capture.get("focal_mm"),
        taken=capture.get("taken") or "",
        offset=capture.get("offset") or "",
    )


@dataclass(frozen=True)
class _Known:
    """What is the same for every file of an item. masters, located: by the master's path."""

    words: Words
    software: str
    masters: dict[str, dict[str, Any]]
    located: dict[str, dict[str, Any]]
    with_iim: bool


@dataclass(frozen=True)
class _Made:
    """One derivative with its metadata, and its entry in embedded.json.

    content: None for an alternate, which is on disk already.
    """

    content: bytes | None
    entry: dict[str, Any]
    shortened: list[str]


def embedded(
    data: bytes, words: Words, technical: Technical, with_iim: bool
) -> tuple[bytes, list[str]]:
    """Return (the JPEG `data` with its metadata, names of the fields an encoding shortened).

    Raises ValueError for a malformed JPEG or metadata beyond what a file can hold.
    """
    exif_block, cut = exif.encode(words, technical)
    packet, extended = xmp.packet(words, technical)
    datasets, cut_iim = iim.encode(words) if with_iim else (b"", [])
    result = jpeg.spliced(
        data,
        exif=exif_block,
        xmp=packet,
        extended=extended,
        iim=iim.block(datasets) if datasets else None,
        ppi=technical.ppi,
    )
    return result, cut + cut_iim


def embed_item(batch_dir: Path, item_dir: Path, given: dict[str, Any]) -> None:
    """Write access/, thumbs/, embedded.json and, where asked for, alternates/ of the item.

    Reads render/, fixity.json and geometry.json; never the masters. The event's detail holds all
    that decides the bytes: catalogue record, institution, settings, software; and the facts,
    which render used too. Raises GlassineError for a rendered file that is missing or not what
    render wrote, and for texts that cannot be embedded.
    """
    known = _known(item_dir, given)
    _require_usable(given["item"], known.words)
    frames = files.read_json(item_dir / "render" / "render.json")["frames"]
    made = [_made(item_dir, frame, entry, known) for frame in frames for entry in frame["files"]]
    for folder in FOLDERS.values():
        with files.replacing_folder(item_dir / folder) as temporary:
            for each in made:
                if each.entry["path"].startswith(f"{folder}/") and each.content is not None:
                    (temporary / each.entry["path"].partition("/")[2]).write_bytes(each.content)
    made += _alternates(item_dir, frames, known)
    settings = given["settings"]
    detail = {
        "catalogue": given.get("catalogue"),
        "facts": {
            master["path"]: Facts.of_master(master, given).as_dict() for master in given["masters"]
        },
        "institution": given.get("institution") or {},
        "settings": {name: settings.get(name, {}) for name in ("embed", "rights")},
        "software": known.software,
        "step": VERSION,
        "shortened": {each.entry["path"]: each.shortened for each in made if each.shortened},
    }
    event = premis_event.event("metadata modification", detail, packages=("lxml", "piexif"))
    record_files.write(
        item_dir / "embedded.json",
        "embedded",
        {"item": given["item"], "event": event, "files": [each.entry for each in made]},
    )


def _known(item_dir: Path, given: dict[str, Any]) -> _Known:
    settings = given["settings"]
    words = words_of(
        given["item"],
        given.get("catalogue"),
        given.get("institution") or {},
        settings.get("rights", {}),
    )
    geometry = files.read_json(item_dir / "geometry.json")
    fixity = files.read_json(item_dir / "fixity.json")
    return _Known(
        words=words,
        software=given.get("software") or f"Glassine {__version__}",
        masters={master["path"]: master for master in fixity["masters"]},
        located={master["path"]: master for master in geometry["masters"]},
        with_iim=settings.get("embed", {}).get("iim", True),
    )


def _made(item_dir: Path, frame: dict[str, Any], entry: dict[str, Any], known: _Known) -> _Made:
    data = _rendered(item_dir, entry)
    with _encoding(entry):
        colour_space = _colour_space(jpeg.icc_profile(data))
        technical = _technical(frame, entry, colour_space, jpeg.components(data), known)
        content, shortened = embedded(data, known.words, technical, known.with_iim)
    found = formats.identify_bytes(content)
    assert found is not None  # a JPEG that was just taken apart
    digests = hashing.of_bytes(content)
    folder = FOLDERS[entry["use"]]
    return _Made(content, _entry(frame, entry, folder, found, digests, known), shortened)


@contextlib.contextmanager
def _encoding(entry: dict[str, Any]) -> Iterator[None]:
    """Say in plain words where metadata does not go into a file."""
    try:
        yield
    except ValueError as problem:
        raise GlassineError.because(
            "embed.encode",
            f"render/{entry['name']}",
            f"Metadata cannot be embedded: {problem}.",
            "a whole image file, and texts that it can hold.",
            "Shorten the texts named, or render the item again.",
        ) from problem


def _alternates(item_dir: Path, frames: list[dict[str, Any]], known: _Known) -> list[_Made]:
    """Write alternates/ of the item; remove it where none are made any more."""
    folder = item_dir / alternates.FOLDER
    if not any(alternates.of_frame(frame) for frame in frames):
        if folder.is_dir():
            files.remove_tree(folder)
        return []
    with files.replacing_folder(folder) as temporary:
        return [
            _alternate(item_dir, temporary, frame, entry, known)
            for frame in frames
            for entry in alternates.of_frame(frame)
        ]


def _alternate(
    item_dir: Path, folder: Path, frame: dict[str, Any], entry: dict[str, Any], known: _Known
) -> _Made:
    source, target = files.inside(item_dir, f"render/{entry['name']}"), folder / entry["name"]
    use, tone = entry["use"], Tone.of_frame(frame)
    try:
        opened = source.open("rb")
    except OSError as problem:
        raise _missing(source, problem) from problem
    with opened, _encoding(entry):
        space = _colour_space(described.icc_profile(opened, use))
        technical = _technical(frame, entry, space, tone.bands if tone else 3, known)
        copied = described.copy(opened, target, use, known.words, technical, known.with_iim)
    _require_same(source, copied.original, entry)
    found = formats.identify(target)
    made = _entry(frame, entry, alternates.FOLDER, found, copied.digests, known)
    return _Made(None, made, copied.shortened)


def _entry(
    frame: dict[str, Any],
    entry: dict[str, Any],
    folder: str,
    found: formats.Format,
    digests: hashing.Digests,
    known: _Known,
) -> dict[str, Any]:
    master = known.masters[frame["master"]]
    return {
        "use": entry["use"],
        "path": f"{folder}/{entry['name']}",
        "master": frame["master"],
        "index": frame["index"],
        "width": entry["width"],
        "height": entry["height"],
        "bytes": digests.bytes,
        "sha256": digests.sha256,
        "sha512": digests.sha512,
        "puid": found.puid,
        "format_name": found.name,
        "format_version": found.version,
        "derived_from": {"path": master["path"], "sha256": master["digests"]["sha256"]},
    }
