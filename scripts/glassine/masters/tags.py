"""What the tags of a TIFF say of its capture, resolution, colour and rights.

Texts and numbers of hostile files: each is cut, cleaned or left out where it is none.
"""

from __future__ import annotations

import hashlib
import math
import re
import struct
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from glassine.base.records.parts import Capture, Resolution
from glassine.masters import refusal

MAX_ICC_BYTES = 8 * 2**20
# Far more of an XMP packet than stands before its rights.
_XMP_BYTES = 256 * 1024
_RIGHTS_URI = re.compile(
    rb"https?://(?:www\.)?(?:rightsstatements|creativecommons)\.org/[A-Za-z0-9./?=_-]{1,200}"
)


def count(page: Any, name: str, default: int) -> int:
    value = page.tags.valueof(name, default)
    return int(value[0] if isinstance(value, tuple) else value)


def resolution(page: Any) -> Resolution | None:
    """Return the resolution as tagged (TIFF 6.0: unit 1 none, 2 inch, 3 centimetre)."""
    x, y = (_number(page.tags.valueof(name)) for name in ("XResolution", "YResolution"))
    if x is None or y is None or not (0 < x < 1e7 and 0 < y < 1e7):
        return None
    units: dict[int, Literal["none", "in", "cm"]] = {1: "none", 2: "in", 3: "cm"}
    return Resolution(x=x, y=y, unit=units.get(count(page, "ResolutionUnit", 2), "none"))


def _number(value: Any) -> float | None:
    """Return a tag's number or fraction as a finite float rounded to 9 digits, else None."""
    try:
        if isinstance(value, tuple) and len(value) == 2:
            value = value[0] / value[1]
        elif isinstance(value, tuple):
            value = value[0]
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError, IndexError, OverflowError):
        return None
    return float(f"{number:.9g}") if math.isfinite(number) else None


def text(value: Any) -> str | None:
    """Return a tag's text in one line without control characters, at most 500 long, else None."""
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    if not isinstance(value, str):
        return None
    printable = "".join(char if char.isprintable() else " " for char in value)
    return " ".join(printable.split())[:500] or None


def _date(value: Any) -> str | None:
    """Return an EXIF date "2026:03:17 10:00:00" as "2026-03-17T10:00:00", else None."""
    day, _, clock = (text(value) or "").partition(" ")
    numbers = day.split(":") + clock.split(":")
    written = f"{'-'.join(numbers[:3])}T{':'.join(numbers[3:])}"
    try:  # a camera without a clock writes zeros, a hostile file anything: no date of this world
        return written if datetime.fromisoformat(written).isoformat() == written else None
    except ValueError:
        return None


def _rights_uris(packet: Any) -> list[str]:
    """Return the URIs of rights statements and licences that an XMP packet names, each once."""
    if not isinstance(packet, bytes):
        return []
    uris = (match.group().decode("ascii") for match in _RIGHTS_URI.finditer(packet[:_XMP_BYTES]))
    return list(dict.fromkeys(uris))[:5]


def capture(page: Any) -> Capture:
    """Return what camera and studio wrote (EXIF 2.32 names in the comments), absent ones None."""
    exif = page.tags.valueof("ExifTag", {})
    exif = exif if isinstance(exif, dict) else {}
    iso = exif.get("PhotographicSensitivity", exif.get("ISOSpeedRatings"))
    return Capture(
        make=text(page.tags.valueof("Make")),
        model=text(page.tags.valueof("Model")),
        serial=text(exif.get("BodySerialNumber")),
        lens=text(exif.get("LensModel")),
        exposure_s=_number(exif.get("ExposureTime")),
        f_number=_number(exif.get("FNumber")),
        iso=_number(iso),
        focal_mm=_number(exif.get("FocalLength")),
        taken=_date(exif.get("DateTimeOriginal")) or _date(page.tags.valueof("DateTime")),
        offset=text(exif.get("OffsetTimeOriginal")),
        artist=text(page.tags.valueof("Artist")),
        copyright=text(page.tags.valueof("Copyright")),
        rights_uris=_rights_uris(page.tags.valueof("XMP")),
        description=text(page.tags.valueof("ImageDescription")),
        exif_version=text(exif.get("ExifVersion")),
    )


def icc_facts(page: Any, path: Path) -> tuple[str | None, str | None]:
    """Return the embedded profile's description and sha256, or (None, None)."""
    profile = page.tags.valueof("InterColorProfile")
    profile = profile if isinstance(profile, bytes) else None
    if profile is None:
        return None, None
    if len(profile) > MAX_ICC_BYTES or len(profile) < 132 or profile[36:40] != b"acsp":
        raise refusal.damaged(path, "its embedded ICC profile is not one (ICC.1:2010, 7.2)")
    return icc_name(profile), hashlib.sha256(profile).hexdigest()


def icc_name(profile: bytes) -> str | None:
    """Return the description of an ICC profile (ICC.1:2010, 9.2.41: tag `desc`), if it has one."""
    try:
        (count,) = struct.unpack(">I", profile[128:132])
        for index in range(min(count, 100)):
            signature, offset, size = struct.unpack(
                ">4sII", profile[132 + 12 * index : 144 + 12 * index]
            )
            if signature == b"desc":
                return _icc_text(profile[offset : offset + size])
    except (struct.error, UnicodeDecodeError):
        return None
    return None


def _icc_text(data: bytes) -> str | None:
    if data[:4] == b"mluc":  # ICC.1:2010, 10.13
        size, offset = struct.unpack(">II", data[20:28])
        return text(data[offset : offset + size].decode("utf-16-be"))
    if data[:4] == b"desc":  # ICC.1:2001-04, 6.5.17
        (size,) = struct.unpack(">I", data[8:12])
        return text(data[12 : 12 + size].rstrip(b"\0").decode("ascii"))
    return None
