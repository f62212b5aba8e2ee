"""Metadata segments put into an encoded JPEG without touching a coded pixel.

ISO/IEC 10918-1 annex B (markers), JFIF 1.02 (APP0 first), Exif 2.32 section 4.7 (APP1),
XMP part 3 section 1.1.3 (APP1, extended packets of 65,400 bytes), ICC.1 annex B.4 (APP2).
"""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass

SOI = b"\xff\xd8"
APP0, APP1, APP2, APP13, SOS, EOI = 0xE0, 0xE1, 0xE2, 0xED, 0xDA, 0xD9
EXIF_HEAD = b"Exif\0\0"
XMP_HEAD = b"http://ns.adobe.com/xap/1.0/\0"
EXTENDED_HEAD = b"http://ns.adobe.com/xmp/extension/\0"
IRB_HEAD = b"Photoshop 3.0\0"
# The length field counts itself and is 16 bits wide.
MAX_PAYLOAD = 65535 - 2
MAX_EXIF = MAX_PAYLOAD - len(EXIF_HEAD)
MAX_XMP = MAX_PAYLOAD - len(XMP_HEAD)
EXTENDED_PART = 65400


@dataclass(frozen=True)
class Segment:
    marker: int
    payload: bytes

    def encoded(self) -> bytes:
        """Return the segment as it stands in a file. Raises ValueError beyond 64 KB."""
        if len(self.payload) > MAX_PAYLOAD:
            raise ValueError(f"a JPEG segment holds {MAX_PAYLOAD} bytes, not {len(self.payload)}")
        return struct.pack(">BBH", 0xFF, self.marker, len(self.payload) + 2) + self.payload


def split(data: bytes) -> tuple[list[Segment], bytes]:
    """Return the segments before the first scan, and everything from the scan's marker on.

    Raises ValueError for what is no JPEG, or one cut short.
    """
    if data[:2] != SOI:
        raise ValueError("it does not begin as a JPEG does")
    if data[-2:] != b"\xff\xd9":
        raise ValueError("it does not end as a JPEG does, it is cut short")
    segments: list[Segment] = []
    at = 2
    while True:
        if at + 4 > len(data) or data[at] != 0xFF:
            raise ValueError(f"there is no marker at byte {at}")
        marker = data[at + 1]
        if marker == 0xFF:  # fill byte (B.1.1.2)
            at += 1
            continue
        if marker == SOS:
            return segments, data[at:]
        if marker in (0x00, 0x01, EOI) or 0xD0 <= marker <= 0xD8:
            raise ValueError(f"the marker {marker:02X} at byte {at} cannot stand there")
        (length,) = struct.unpack_from(">H", data, at + 2)
        if length < 2 or at + 2 + length > len(data):
            raise ValueError(f"the segment at byte {at} is longer than the file")
        segments.append(Segment(marker, data[at + 4 : at + 2 + length]))
        at += 2 + length


def _is_metadata(segment: Segment) -> bool:
    return (
        segment.marker == APP1 and segment.payload.startswith((EXIF_HEAD, XMP_HEAD, EXTENDED_HEAD))
    ) or (segment.marker == APP13 and segment.payload.startswith(IRB_HEAD))


def _is_jfif(segment: Segment) -> bool:
    return segment.marker == APP0 and segment.payload.startswith(b"JFIF\0")


def _with_density(jfif: Segment, ppi: float | None) -> Segment:
    """Return JFIF's APP0 with the density that EXIF states; JFIF has whole numbers only."""
    if ppi is None or not 1 <= round(ppi) <= 65535 or len(jfif.payload) < 14:
        return jfif
    density = struct.pack(">BHH", 1, round(ppi), round(ppi))
    return Segment(APP0, jfif.payload[:7] + density + jfif.payload[12:])


def xmp_segments(packet: bytes, extended: bytes | None) -> list[Segment]:
    """Return the APP1 segments of an XMP packet and, where there is one, its extended part."""
    if len(packet) > MAX_XMP:
        raise ValueError(f"an XMP packet in a JPEG holds {MAX_XMP} bytes, not {len(packet)}")
    segments = [Segment(APP1, XMP_HEAD + packet)]
    if extended:
        guid = extended_guid(extended).encode("ascii")
        for start in range(0, len(extended), EXTENDED_PART):
            head = EXTENDED_HEAD + guid + struct.pack(">II", len(extended), start)
            segments.append(Segment(APP1, head + extended[start : start + EXTENDED_PART]))
    return segments


def extended_guid(extended: bytes) -> str:
    """Return the digest that ties an extended packet to its file (MD5 by XMP part 3)."""
    return hashlib.md5(extended, usedforsecurity=False).hexdigest().upper()


def spliced(
    data: bytes,
    *,
    exif: bytes,
    xmp: bytes,
    extended: bytes | None = None,
    iim: bytes | None = None,
    ppi: float | None = None,
) -> bytes:
    """Return the JPEG `data` with the metadata given in place of any it had.

    exif begins with its `Exif\\0\\0`; iim is a ready image resource block. Order: JFIF,
    EXIF, XMP, IPTC, then what the encoder wrote (ICC, tables, frame), then the same scans.
    Raises ValueError for a malformed JPEG, an oversized segment, or if a table, the frame,
    the ICC profile or a scan would differ.
    """
    before, scans = split(data)
    jfif = [segment for segment in before if _is_jfif(segment)]
    picture_segments = [
        segment for segment in before if not _is_jfif(segment) and not _is_metadata(segment)
    ]
    segments = [_with_density(segment, ppi) for segment in jfif[:1]]
    segments.append(Segment(APP1, exif))
    segments += xmp_segments(xmp, extended)
    if iim:
        segments.append(Segment(APP13, iim))
    segments += picture_segments
    result = SOI + b"".join(segment.encoded() for segment in segments) + scans
    _require_same_picture(data, result)
    return result


def picture(data: bytes) -> tuple[list[Segment], bytes]:
    """Return what the pixels depend on: every segment but JFIF and metadata, and the scans."""
    before, scans = split(data)
    return [part for part in before if not _is_jfif(part) and not _is_metadata(part)], scans


def _require_same_picture(first: bytes, second: bytes) -> None:
    if picture(first) != picture(second):
        raise ValueError("the coded picture would have changed")


def icc_profile(data: bytes) -> bytes:
    """Return the embedded ICC profile, joined from its APP2 parts, or empty bytes."""
    head = b"ICC_PROFILE\0"
    parts = {
        segment.payload[len(head)]: segment.payload[len(head) + 2 :]
        for segment in split(data)[0]
        if segment.marker == APP2 and segment.payload.startswith(head)
    }
    return b"".join(parts[number] for number in sorted(parts))


def components(data: bytes) -> int:
    """Return the number of colour components that the frame header states (B.2.2)."""
    for segment in split(data)[0]:
        frame = 0xC0 <= segment.marker <= 0xCF and segment.marker not in (0xC4, 0xC8, 0xCC)
        if frame and len(segment.payload) > 5:
            return segment.payload[5]
    raise ValueError("it has no frame header")
