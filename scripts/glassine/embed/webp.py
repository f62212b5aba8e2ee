"""Metadata chunks put into a WebP file; the coded picture and its profile stay.

RFC 9649 section 2.3 (RIFF), 2.5 (the simple form, a lossy picture alone) and 2.7 (the extended
form): VP8X, ICCP, the picture, then EXIF and XMP, each told by a bit of VP8X.
"""

from __future__ import annotations

import struct

_EXIF_BIT, _XMP_BIT = 0x08, 0x04
_METADATA = (b"EXIF", b"XMP ")


def chunks(data: bytes) -> list[tuple[bytes, bytes]]:
    """Return (name, content) of each chunk. Raises ValueError for what is no whole WebP."""
    if data[:4] != b"RIFF" or data[8:12] != b"WEBP":
        raise ValueError("it does not begin as a WebP does")
    (size,) = struct.unpack_from("<I", data, 4)
    if size + 8 != len(data):
        raise ValueError(f"it has {len(data)} bytes and says {size + 8}")
    listed = []
    at = 12
    while at < len(data):
        if at + 8 > len(data):
            raise ValueError(f"the chunk at byte {at} is cut short")
        name, length = struct.unpack_from("<4sI", data, at)
        if at + 8 + length > len(data):
            raise ValueError(f"the chunk at byte {at} is longer than the file")
        listed.append((name, data[at + 8 : at + 8 + length]))
        at += 8 + length + length % 2
    return listed


def spliced(data: bytes, *, exif: bytes, xmp: bytes) -> bytes:
    """Return the WebP `data` with the metadata given in place of any it had.

    exif: a TIFF block, without `Exif\\0\\0`; xmp: the whole packet. Raises ValueError for what is
    no WebP as render makes it (lossy or with a profile), or would grow too large.
    """
    before = [chunk for chunk in chunks(data) if chunk[0] not in _METADATA]
    if len(before) == 1 and before[0][0] == b"VP8 ":
        before.insert(0, (b"VP8X", _extended(before[0][1])))
    if not before or before[0][0] != b"VP8X" or len(before[0][1]) != 10:
        raise ValueError("it is no WebP of the simple lossy or the extended form")
    head = before[0][1]
    flags = head[0] | _EXIF_BIT | _XMP_BIT
    after = [(b"VP8X", bytes([flags]) + head[1:]), *before[1:], (b"EXIF", exif), (b"XMP ", xmp)]
    body = b"WEBP" + b"".join(_chunk(name, content) for name, content in after)
    if len(body) > 2**32 - 10:
        raise ValueError("it would outgrow what a WebP can hold")
    return b"RIFF" + struct.pack("<I", len(body)) + body


def _extended(lossy: bytes) -> bytes:
    """Return VP8X of a lossy picture: its size less one, in 24 bits each (RFC 6386, 9.1)."""
    if len(lossy) < 10 or lossy[3:6] != b"\x9d\x01\x2a":
        raise ValueError("its picture has no start code")
    sides = (side & 0x3FFF for side in struct.unpack_from("<HH", lossy, 6))
    return bytes(4) + b"".join((side - 1).to_bytes(3, "little") for side in sides if side)


def _chunk(name: bytes, content: bytes) -> bytes:
    return name + struct.pack("<I", len(content)) + content + b"\0" * (len(content) % 2)
