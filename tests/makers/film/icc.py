"""Small ICC profiles (version 2.4) written from published primaries.

ICC.1:2001-04: header (6.1), XYZ, curv and text types (6.5); the colorants are relative to the
profile connection space's D50.
"""

from __future__ import annotations

import struct

import numpy as np

# Colorants adapted to D50 (Bradford), columns R, G, B. Sources: IEC 61966-2-1 and
# Adobe RGB (1998) Color Image Encoding, 2005-05, as their reference profiles hold them.
BT709 = ((0.43607, 0.22249, 0.01392), (0.38515, 0.71687, 0.09708), (0.14307, 0.06061, 0.71410))
WIDE = ((0.60974, 0.31111, 0.01947), (0.20528, 0.62567, 0.06087), (0.14919, 0.06322, 0.74457))
D50 = (0.9642, 1.0, 0.8249)  # ICC.1:2001-04, 6.1.11

# The gamma of the wide space is 563/256 = 2.19921875 (Adobe RGB (1998), 4.3.1.2).
GAMMA_WIDE = 563 / 256
GAMMA_LINEAR = 1.0


def rgb_profile(name: str, primaries: tuple[tuple[float, ...], ...], gamma: float) -> bytes:
    """Return a display-class matrix/TRC profile."""
    tags = {
        b"rXYZ": _xyz(primaries[0]),
        b"gXYZ": _xyz(primaries[1]),
        b"bXYZ": _xyz(primaries[2]),
        b"rTRC": _curve(gamma),
        b"gTRC": _curve(gamma),
        b"bTRC": _curve(gamma),
    }
    return _profile(name, b"RGB ", tags)


def grey_profile(name: str, gamma: float) -> bytes:
    """Return a display-class monochrome profile."""
    return _profile(name, b"GRAY", {b"kTRC": _curve(gamma)})


def from_bt709(primaries: tuple[tuple[float, ...], ...]) -> np.ndarray:
    """Return the 3 x 3 matrix from linear BT.709 RGB to linear RGB of `primaries`."""
    ours, theirs = np.array(BT709).T, np.array(primaries).T
    return np.round(np.linalg.solve(theirs, ours), 7)


def _fixed(value: float) -> bytes:
    return struct.pack(">i", round(value * 65536))


def _xyz(values: tuple[float, ...]) -> bytes:
    return b"XYZ \0\0\0\0" + b"".join(_fixed(value) for value in values)


def _curve(gamma: float) -> bytes:
    """Return a curv tag: no entry for linear, one u8.8 number for a pure power."""
    if gamma == GAMMA_LINEAR:
        return b"curv\0\0\0\0" + struct.pack(">I", 0)
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256))


def _description(text: str) -> bytes:
    ascii_text = text.encode("ascii") + b"\0"
    head = b"desc\0\0\0\0" + struct.pack(">I", len(ascii_text)) + ascii_text
    return head + bytes(4 + 4 + 2 + 1 + 67)


def _profile(name: str, space: bytes, tags: dict[bytes, bytes]) -> bytes:
    tags = {
        b"desc": _description(name),
        b"cprt": b"text\0\0\0\0" + b"No rights reserved (CC0)\0",
        b"wtpt": _xyz(D50),
        **tags,
    }
    offset = 128 + 4 + 12 * len(tags)
    table, body, seen = b"", b"", {}
    for key, data in tags.items():
        padded = data + bytes(-len(data) % 4)
        if padded not in seen:
            seen[padded] = offset + len(body)
            body += padded
        table += key + struct.pack(">II", seen[padded], len(data))
    size = offset + len(body)
    header = struct.pack(">I", size) + bytes(4) + bytes((2, 0x40, 0, 0)) + b"mntr" + space + b"XYZ "
    header += struct.pack(">6H", 2026, 1, 12, 9, 0, 0) + b"acsp" + bytes(4)
    header += bytes(4 + 4 + 4 + 8 + 4) + b"".join(_fixed(value) for value in D50)
    header += bytes(128 - len(header))
    return header + struct.pack(">I", len(tags)) + table + body
