"""Names: what a master's file name tells, and what derivatives are called."""

from __future__ import annotations

import hashlib
import re
import string
import unicodedata
from dataclasses import dataclass

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
# What stands in square brackets of a template is left out where its field has no value.
_OPTIONAL = re.compile(r"\[([^\[\]]*)\]")
_MAX_SYSTEM_NAME = 255


@dataclass(frozen=True)
class MasterName:
    """What a master's file name says."""

    item: ItemId
    part: str | None
    sequence: str | None


def _is_id(text: str) -> bool:
    return bool(_ID.fullmatch(text)) and ".." not in text and not _RESERVED.fullmatch(text)


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


def compile_pattern(pattern: str) -> re.Pattern[str]:
    """Return the file-name pattern of the settings.

    Raises GlassineError where it is no regular expression or has no group `item`.
    """
    try:
        compiled = re.compile(pattern)
    except re.error as problem:
        raise GlassineError.because(
            "naming.pattern",
            "config/config.yaml",
            f"naming.pattern cannot be read: {problem}.",
            "a pattern that can be read, as the example of naming.pattern in config/README.md.",
            "Correct `naming.pattern`.",
        ) from problem
    if "item" not in compiled.groupindex:
        raise GlassineError.because(
            "naming.pattern",
            "config/config.yaml",
            "naming.pattern has no group named `item`.",
            "a group of that name, as in the example of naming.pattern in config/README.md.",
            "Correct `naming.pattern`.",
        )
    return compiled


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


def parse(file_name: str, pattern: re.Pattern[str]) -> MasterName | None:
    """Return what the file name (without folders) says, or None where it is off the template."""
    # No file system has longer names; a list may, and the pattern's time may grow with them.
    match = pattern.fullmatch(file_name) if len(file_name) <= _MAX_SYSTEM_NAME else None
    if match is None or not _is_id(match["item"] or ""):
        return None
    groups = match.groupdict()
    return MasterName(ItemId(match["item"]), groups.get("part"), groups.get("sequence"))


def nearest(file_name: str, pattern: re.Pattern[str]) -> str | None:
    """Return the name on the template that differs from this one only by blanks, case, dots or
    normal form, or None.

    >>> nearest("peh-0012 .TIF", re.compile(r"(?P<item>PEH-[0-9]{4})\\.tif"))
    'PEH-0012.tif'
    """
    plain = unicodedata.normalize("NFKC", file_name[:_MAX_SYSTEM_NAME]).strip(" .\t")
    stem, _, ending = plain.rpartition(".")
    stem, ending = stem.strip(), ending.strip().lower()
    stems = [stem, *(stem.replace(" ", mark) for mark in ("", "-", "_"))]
    stems += [stem.replace("_", "-"), stem.replace("-", "_")]
    tries = [changed for each in stems for changed in (each, each.upper(), each.lower())]
    for each in dict.fromkeys(tries):
        if parse(f"{each}.{ending}", pattern):
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


def derivative_name(template: str, item: str, part: str | None, frame: int | None, use: str) -> str:
    """Return the name of a derivative.

    template: as in `naming.derivative`; what stands in square brackets is left out where a
    field in it has no value. Raises GlassineError for an unknown field or an unsafe result.

    >>> derivative_name("{item}[_{part}][_{frame:02d}]_{use}.jpg", "PEH-1", None, 3, "access")
    'PEH-1_03_access.jpg'
    """
    fields: dict[str, object] = {"item": item, "part": part, "frame": frame, "use": use}

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
            "the fields item, part, frame and use.",
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


def check_template(template: str) -> None:
    """Raise GlassineError where `naming.derivative` cannot name every derivative of an item.

    Filled for a few parts, frames and uses, it must end as a JPEG does and never give a name
    twice: one picture would take the place of another.
    """
    outside = _OPTIONAL.sub("", template)
    for field in ("part", "frame"):
        if "{" + field in outside:
            raise _bad_template(
                f"naming.derivative has the field {field} outside of square brackets, and not "
                "every picture has one.",
                "a template as in {item}[_{part}][_{frame:02d}]_{use}.jpg.",
            )
    seen: dict[str, tuple[object, ...]] = {}
    labels = ("part", "frame", "use")
    for place in ((p, f, u) for p in _PARTS for f in _FRAMES for u in _USES):
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


def iiif_id(item: str, part: str | None, frame: int | None) -> str:
    """Return the identifier of a frame's image service, e.g. `PEH-1_03`."""
    return "_".join(
        [item, *([part] if part else []), *([f"{frame:02d}"] if frame is not None else [])]
    )


def collisions(names: list[ItemId]) -> list[list[ItemId]]:
    """Return groups of ids that differ only in case or normalisation.

    Such names become one on file systems that fold them (RFC 8493 section 6.1.1).
    """
    groups: dict[str, list[ItemId]] = {}
    for name in names:
        groups.setdefault(unicodedata.normalize("NFC", name).casefold(), []).append(name)
    return [group for group in groups.values() if len(group) > 1]
