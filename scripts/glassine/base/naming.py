"""Names: what a master's file name tells, and what derivatives are called."""

from __future__ import annotations

import hashlib
import re
import string
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from glassine.base import alternates
from glassine.base.errors import GlassineError
from glassine.base.model import BatchId, ItemId

# Item and batch ids become file names, XML ids and URLs: letters, digits, dot, hyphen, underscore.
# 100 bytes leave room for suffixes within the 255 bytes of common file systems.
ID_PATTERN = r"[A-Za-z0-9](?:[A-Za-z0-9._-]{0,98}[A-Za-z0-9])?"
_ID = re.compile(ID_PATTERN)
# Names that some systems keep for devices (Microsoft, "Naming Files, Paths, and Namespaces").
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?")
_MAX_NAME_BYTES = 200
MASTER_SUFFIXES = frozenset({".tif", ".tiff"})
# File endings of camera raw formats.
RAW_SUFFIXES = frozenset({
    ".3fr", ".arw", ".cr2", ".cr3", ".crw", ".dcr", ".dng", ".erf", ".fff", ".iiq", ".kdc", ".mef",
    ".mos", ".nef", ".nrw", ".orf", ".pef", ".raf", ".raw", ".rw2", ".sr2", ".srf", ".srw", ".x3f",
})  # fmt: skip
# What stands in square brackets of a template is left out where its field has no value.
_OPTIONAL = re.compile(r"\[([^\[\]]*)\]")
_MAX_SYSTEM_NAME = 255
# Of a path below the batch folder; deeper ones tell no item.
_MAX_PATH = 1000
PatternOf = Literal["name", "path"]
# Marks of a capture made again, at the end of a name without its ending (common practice, no
# source): _v2, (2), _take2, _retake, _retake2.
_RETAKE = re.compile(
    r"(?i)(?:[ ._-]v(?P<v>[0-9]{1,2})| ?\((?P<n>[0-9]{1,2})\)"
    r"|[ ._-](?:re)?take[ ._-]?(?P<t>[0-9]{0,2}))\Z"
)


@dataclass(frozen=True)
class MasterName:
    """What a master's file name says.

    roll: the roll or other parent that the item is a part of; place: where on it. take: which
    capture of the same thing it is, None where the name says nothing. whole: what the name says
    where its mark of a retake is taken for a part of the name.
    """

    item: ItemId
    part: str | None
    sequence: str | None
    roll: str | None = None
    place: str | None = None
    take: int | None = None
    whole: MasterName | None = None


@dataclass(frozen=True)
class Scheme:
    """How names tell items, by `naming` of the settings.

    patterns: the first that fits holds. of: what they must match, the file name or its path below
    the batch folder. item: template of the id from the patterns' groups, None where the group
    `item` is it. parts: {word in a name: part that it means}.
    """

    patterns: tuple[re.Pattern[str], ...]
    of: PatternOf = "name"
    item: str | None = None
    parts: Mapping[str, str] = field(default_factory=dict)


def _is_id(text: str) -> bool:
    return bool(_ID.fullmatch(text)) and ".." not in text and not _RESERVED.fullmatch(text)


def is_id(text: str) -> bool:
    """Return whether `text` may be the id of an item."""
    return _is_id(text)


def check_item(text: str) -> ItemId:
    """Return `text` as an item id.

    Raises ValueError unless it has 1 to 100 of A-Z a-z 0-9 . _ -, begins and ends with a
    letter or digit, holds no `..` and is no reserved device name.
    """
    if not _is_id(text):
        raise ValueError(f"{text!r} is no item id: letters, digits, '.', '_', '-', at most 100")
    return ItemId(text)


def check_batch(text: str) -> BatchId:
    """Return `text` as a batch id; the same rule as for items."""
    if not _is_id(text):
        raise ValueError(f"{text!r} is no batch id: letters, digits, '.', '_', '-', at most 100")
    return BatchId(text)


def compile_pattern(
    pattern: str | Sequence[str],
    of: PatternOf = "name",
    item: str | None = None,
    parts: Mapping[str, str] | None = None,
) -> Scheme:
    """Return how names tell items; see `Scheme`.

    Raises GlassineError where a pattern is no regular expression, or names no item.
    """
    texts = [pattern] if isinstance(pattern, str) else list(pattern)
    compiled = tuple(_compiled(text, item) for text in texts)
    return Scheme(compiled, of, item, {**(parts or {})})


def _compiled(pattern: str, item: str | None) -> re.Pattern[str]:
    try:
        compiled = re.compile(pattern)
    except re.error as problem:
        raise _bad_pattern(
            f"naming.pattern cannot be read: {problem}.",
            "a pattern that can be read, as the example of naming.pattern in config/README.md.",
        ) from problem
    if item is None and "item" not in compiled.groupindex:
        raise _bad_pattern(
            "naming.pattern has no group named `item`.",
            "a group of that name, as in the example of naming.pattern in config/README.md.",
        )
    if item is not None:
        _check_item_template(item, compiled)
    return compiled


def _check_item_template(template: str, pattern: re.Pattern[str]) -> None:
    example = "{day}-{number}"
    try:
        names = [name for _, name, _, _ in string.Formatter().parse(template) if name is not None]
    except ValueError as problem:
        raise _bad_pattern(
            f"naming.item cannot be read: {problem}.", f"a template as in {example}.", "naming.item"
        ) from problem
    absent = [name for name in names if name not in pattern.groupindex]
    if absent or not names:
        what = f"the group {absent[0]!r}, which naming.pattern lacks" if absent else "no group"
        raise _bad_pattern(
            f"naming.item names {what}.",
            f"groups that every pattern has, in braces, as in {example}.",
            "naming.item",
        )


def _bad_pattern(what: str, expected: str, key: str = "naming.pattern") -> GlassineError:
    return GlassineError.because(
        "naming.pattern", "config/config.yaml", what, expected, f"Correct `{key}`."
    )


_STAND_IN = "unidentified-"


def stand_in(path: str) -> ItemId:
    """Return the stand-in id of a file that tells no item; the same for the same path."""
    return ItemId(_STAND_IN + hashlib.sha256(path.encode()).hexdigest()[:8])


def item_or_stand_in(text: str, path: str) -> ItemId:
    """Return the id that `text` is; where it is none, the stand-in for the file at `path`."""
    return ItemId(text) if _is_id(text) else stand_in(path)


def is_stand_in(item: str) -> bool:
    """Return whether an id is made of a file's path: it is no id of an item."""
    return item.startswith(_STAND_IN)


def parse(path: str, scheme: Scheme) -> MasterName | None:
    """Return what the name of a master says, or None where it is off the template.

    path: below the batch folder; of its folders only what the scheme asks for is looked at.
    """
    # No file system has longer names; a list may, and the pattern's time may grow with them.
    text = path if scheme.of == "path" else path.rpartition("/")[2]
    if ".." in path.split("/") or len(text) > (
        _MAX_PATH if scheme.of == "path" else _MAX_SYSTEM_NAME
    ):
        return None
    whole = _matched(text, scheme)
    if whole is not None and whole.take is not None:
        return whole
    former = without_mark(text)
    again = _matched(former[0], scheme) if former else None
    if former is None or again is None:
        return whole
    return MasterName(
        again.item, again.part, again.sequence, again.roll, again.place, former[1], whole
    )


def without_mark(path: str) -> tuple[str, int] | None:
    """Return (the path without its mark of a capture made again, which capture of the same thing
    it is), None for a name without one.

    >>> without_mark("day 1/DSC_0107_retake.tif")
    ('day 1/DSC_0107.tif', 2)
    """
    folder, slash, name = path.rpartition("/")
    stem, dot, ending = name.rpartition(".")
    mark = _RETAKE.search(stem[-24:]) if dot else None
    if mark is None or mark[0] == stem:
        return None
    number = int(mark["v"] or mark["n"] or mark["t"] or "2")
    return f"{folder}{slash}{stem[: len(stem) - len(mark[0])]}{dot}{ending}", number


def _matched(text: str, scheme: Scheme) -> MasterName | None:
    for pattern in scheme.patterns:
        match = pattern.fullmatch(text)
        found = _told(match, scheme) if match else None
        if found is not None:
            return found
    return None


def _told(match: re.Match[str], scheme: Scheme) -> MasterName | None:
    groups = match.groupdict()
    item = groups.get("item") or ""
    if scheme.item is not None:
        item = scheme.item.format_map({name: value or "" for name, value in groups.items()})
    if not _is_id(item):
        return None
    part = groups.get("part") or None
    take = groups.get("take")
    return MasterName(
        ItemId(item),
        scheme.parts.get(part, part) if part else None,
        groups.get("sequence") or None,
        groups.get("roll") or None,
        groups.get("place") or None,
        int(take) if take and take.isdecimal() and take.isascii() else None,
    )


def is_raw(path: str) -> bool:
    """Return whether a file of this name is a camera raw file."""
    name = path.rpartition("/")[2]
    dot = name.rfind(".")
    return dot > 0 and name[dot:].lower() in RAW_SUFFIXES


def developed_path(path: str) -> str:
    """Return the path of the picture that a raw file is developed to.

    >>> developed_path("roll 1/PEH-0001.NEF")
    'roll 1/PEH-0001.tif'
    """
    return path[: path.rindex(".")] + ".tif"


def nearest(file_name: str, scheme: Scheme) -> str | None:
    """Return the name on the template that differs from this one only by blanks, case, dots or
    normal form, or None.

    >>> nearest("peh-0012 .TIF", compile_pattern(r"(?P<item>PEH-[0-9]{4})\\.tif"))
    'PEH-0012.tif'
    """
    folder, slash, name = file_name.rpartition("/")
    plain = unicodedata.normalize("NFKC", name[:_MAX_SYSTEM_NAME]).strip(" .\t")
    stem, _, ending = plain.rpartition(".")
    stem, ending = stem.strip(), ending.strip().lower()
    stems = [stem, *(stem.replace(" ", mark) for mark in ("", "-", "_"))]
    stems += [stem.replace("_", "-"), stem.replace("-", "_")]
    tries = [changed for each in stems for changed in (each, each.upper(), each.lower())]
    for each in dict.fromkeys(tries):
        if parse(f"{folder}{slash}{each}.{ending}", scheme):
            return f"{each}.{ending}"
    return None


def name_problem(file_name: str) -> str | None:
    """Return in plain words why a file of this name cannot be taken in, or None.

    RFC 8493 section 2.1.3 (%, CR, LF) and 6.1.1 (normalisation) and the limits of common
    file systems stand behind the refusals.
    """
    try:
        encoded = file_name.encode("utf-8")
    except UnicodeEncodeError:
        return "its name is not UTF-8"
    if len(encoded) > _MAX_NAME_BYTES:
        return f"its name has {len(encoded)} bytes, more than {_MAX_NAME_BYTES}"
    if any(unicodedata.category(character) in {"Cc", "Cf", "Cs"} for character in file_name):
        return "its name holds a control or invisible character"
    if unicodedata.normalize("NFC", file_name) != file_name:
        return "its name is not in Unicode normal form C"
    found = sorted(set(file_name) & set('%{}\\:*?"<>|'))
    if found:
        return f"its name holds {' '.join(found)}"
    return None


def _filled(template: str, fields: dict[str, object]) -> str:
    return string.Formatter().vformat(template, (), fields)


def derivative_name(
    template: str,
    item: str,
    part: str | None,
    frame: int | None,
    use: str,
    sequence: str | None = None,
    film_frame: str | None = None,
) -> str:
    """Return the name of a derivative. film_frame: the frame's number on its film, where known.

    template: as in `naming.derivative`; what stands in square brackets is left out where a
    field in it has no value. Raises GlassineError for an unknown field or an unsafe result.

    >>> derivative_name("{item}[_{part}][_{frame:02d}]_{use}.jpg", "PEH-1", None, 3, "access")
    'PEH-1_03_access.jpg'
    """
    fields: dict[str, object] = {
        "item": item,
        "part": part,
        "sequence": sequence,
        "frame": frame,
        "film_frame": film_frame,
        "use": use,
    }

    def optional(match: re.Match[str]) -> str:
        names = [name for _, name, _, _ in string.Formatter().parse(match[1]) if name]
        return match[1] if all(fields.get(name) is not None for name in names) else ""

    try:
        name = _filled(_OPTIONAL.sub(optional, template), fields)
    except (KeyError, ValueError, TypeError, IndexError, AttributeError) as problem:
        raise GlassineError.because(
            "naming.derivative",
            "config/config.yaml",
            f"naming.derivative cannot be filled: {problem}.",
            "the fields item, part, sequence, frame, film_frame and use.",
            "Correct `naming.derivative`.",
        ) from problem
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,199}", name):
        raise GlassineError.because(
            "naming.derivative",
            "config/config.yaml",
            f"naming.derivative yields the file name {name!r}.",
            "letters, digits, '.', '_' and '-' only.",
            "Correct `naming.derivative`.",
        )
    return name


# What derivatives of one item differ in: two parts, one frame or several, and their use.
_PARTS = (None, "emu", "base")
_FRAMES = (None, 1, 2, 12)
_USES = ("access", "thumb", "pyramid", "crop", *alternates.SPACES, alternates.UNINVERTED)
JPEG_SUFFIXES = (".jpg", ".jpeg")


def check_template(template: str, sets: Sequence[str] = ()) -> None:
    """Raise GlassineError where `naming.derivative` cannot name every derivative of an item.

    Filled for a few parts, frames and uses, it must end as a JPEG does and never give a name
    twice: one picture would take the place of another. sets: names of further sets of pictures.
    """
    outside = _OPTIONAL.sub("", template)
    for name in ("part", "sequence", "frame", "film_frame"):
        if "{" + name in outside:
            raise _bad_template(
                f"naming.derivative has the field {name} outside of square brackets, and not "
                "every picture has one.",
                "a template as in {item}[_{part}][_{frame:02d}]_{use}.jpg.",
            )
    seen: dict[str, tuple[object, ...]] = {}
    labels = ("part", "frame", "use")
    for place in ((p, f, u) for p in _PARTS for f in _FRAMES for u in (*_USES, *sets)):
        part, frame, use = place
        name = derivative_name(template, "PEH-0412", part, frame, use)
        if not name.lower().endswith(JPEG_SUFFIXES):
            raise _bad_template(
                f"naming.derivative gives the name {name}, and derivatives are JPEG files.",
                "a template that ends with .jpg.",
            )
        other = seen.setdefault(name.casefold(), place)
        if other != place:
            differ = [
                f"{{{label}}}"
                for label, one, two in zip(labels, place, other, strict=True)
                if one != two
            ]
            raise _bad_template(
                f"naming.derivative gives two pictures of an item the name {name}: they differ "
                f"in {' and '.join(differ)}.",
                "a name of its own for every picture.",
                f"Put {' and '.join(differ)} into `naming.derivative`, as in "
                "{item}[_{part}][_{frame:02d}]_{use}.jpg.",
            )


def _bad_template(what: str, expected: str, next_step: str = "") -> GlassineError:
    return GlassineError.because(
        "naming.derivative",
        "config/config.yaml",
        what,
        expected,
        next_step or "Correct `naming.derivative`.",
    )


def preview_name(path: str) -> str:
    """Return the name of a master's preview: another one for every master of an item, which may
    have the same name in several folders.

    >>> preview_name("PEH-0001.tif")
    'PEH-0001.jpg'
    """
    folder, _, name = path.rpartition("/")
    stem, _, ending = name.rpartition(".")
    if not folder and ending.lower() == "tif":
        return f"{stem}.jpg"
    return f"{stem}-{hashlib.sha256(path.encode()).hexdigest()[:8]}.jpg"


def iiif_id(item: str, part: str | None, frame: int | None, sequence: str | None = None) -> str:
    """Return the identifier of a frame's image service, e.g. `PEH-1_03`."""
    number = f"{frame:02d}" if frame is not None else None
    return "_".join([item, *(word for word in (part, sequence, number) if word)])


# Frames before the first of a roll have no number of their own: 00, then 0.
_FILM_NUMBER = re.compile(r"([0-9]{1,9})([A-Za-z]?)")


def film_number(sequence: str) -> tuple[int, str] | None:
    """Return a frame's place on the film as (number, letter), None where it is no such number.

    A film counts 00, 0, 0A, 1, 1A, 2, ... (common practice, no source): 00 is taken for -1. More
    zeros are padding, as in 000, 001.

    >>> sorted(["1", "12A", "0", "13", "00", "0A", "12"], key=film_number)
    ['00', '0', '0A', '1', '12', '12A', '13']
    """
    match = _FILM_NUMBER.fullmatch(sequence)
    if match is None:
        return None
    if match[1] == "00" and not match[2]:
        return -1, ""
    return int(match[1]), match[2].upper()


def film_order(sequence: str | None) -> tuple[int, int, str, str]:
    """Return the key by which captures of one item follow each other; those without a number
    come first, those with other signs last, by their text."""
    if sequence is None:
        return 0, 0, "", ""
    number = film_number(sequence)
    return (1, *number, sequence) if number else (2, 0, "", sequence)


def collisions(names: list[ItemId], key: Callable[[str], str] | None = None) -> list[list[ItemId]]:
    """Return groups of ids that differ only in case or normalisation, or that `key` makes the same.

    Such names become one on file systems that fold them (RFC 8493 section 6.1.1).
    """
    groups: dict[str, list[ItemId]] = {}
    for name in names:
        alike = key(name) if key else unicodedata.normalize("NFC", name).casefold()
        groups.setdefault(alike, []).append(name)
    return [group for group in groups.values() if len(group) > 1]
