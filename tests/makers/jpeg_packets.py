"""XMP packets read back from a JPEG, as a reader of XMP part 3 (1.1.3.1) joins them."""

from __future__ import annotations

import struct

from glassine.embed import jpeg


def read_xmp(data: bytes) -> tuple[bytes | None, bytes | None]:
    """Return (packet, extended packet) of a JPEG. Raises ValueError if parts are missing."""
    packet: bytes | None = None
    parts: dict[int, bytes] = {}
    total = 0
    for segment in jpeg.split(data)[0]:
        if segment.marker == jpeg.APP1 and segment.payload.startswith(jpeg.XMP_HEAD):
            packet = segment.payload[len(jpeg.XMP_HEAD) :]
        if segment.marker == jpeg.APP1 and segment.payload.startswith(jpeg.EXTENDED_HEAD):
            at = len(jpeg.EXTENDED_HEAD) + 32
            total, start = struct.unpack_from(">II", segment.payload, at)
            parts[start] = segment.payload[at + 8 :]
    whole = b"".join(parts[start] for start in sorted(parts))
    if len(whole) != total:
        raise ValueError("a part of the extended XMP packet is missing")
    return packet, whole or None
