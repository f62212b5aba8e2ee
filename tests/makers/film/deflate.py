"""Zlib streams that are the same bytes on every machine.

The encoders behind Python's zlib differ between builds and give other bytes for the same
input. This one codes literals only (RFC 1951, section 3.2.7: dynamic Huffman codes, no
matches), which loses little on predicted photographic samples: their low bytes are noise.
"""

from __future__ import annotations

import heapq
import struct
import zlib

import numpy as np

# RFC 1951, 3.2.7: the order in which code lengths of the code length alphabet are sent.
_ORDER = (16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15)
_END_OF_BLOCK = 256
_MAX_BITS = 15


def compress(data: bytes) -> bytes:
    """Return `data` as one zlib stream (RFC 1950) of one dynamic block without matches."""
    symbols = np.frombuffer(data, np.uint8)
    counts = np.bincount(symbols, minlength=257)
    counts[_END_OF_BLOCK] = 1
    lengths = _code_lengths([int(count) for count in counts], _MAX_BITS)
    header = _header_bits(lengths)
    codes = np.array(_reversed_codes(lengths), np.uint16)
    sizes = np.array(lengths, np.uint8)
    body = _pack(codes[symbols], sizes[symbols])
    tail = _bits(codes[_END_OF_BLOCK], lengths[_END_OF_BLOCK])
    stream = np.packbits(np.concatenate([header, body, tail]), bitorder="little").tobytes()
    return b"\x78\x9c" + stream + struct.pack(">I", zlib.adler32(data))


def _pack(codes: np.ndarray, sizes: np.ndarray) -> np.ndarray:
    """Return the bits of all codes one after another, lowest bit first."""
    grid = (codes[:, None] >> np.arange(_MAX_BITS, dtype=np.uint16)) & 1
    return grid.astype(np.uint8)[np.arange(_MAX_BITS) < sizes[:, None]]


def _bits(value: int, count: int) -> np.ndarray:
    return np.array([(int(value) >> place) & 1 for place in range(count)], np.uint8)


def _header_bits(lengths: list[int]) -> np.ndarray:
    """Return block type, counts and code lengths (257 literals, 2 unused distances)."""
    sent = [*lengths, 1, 1]
    counts = [sent.count(value) for value in range(19)]
    # a code needs two symbols to be complete
    if sum(1 for count in counts if count) == 1:
        counts[0 if counts[0] == 0 else 1] = 1
    lengths_of_lengths = _code_lengths(counts, 7)
    codes = _reversed_codes(lengths_of_lengths)
    parts = [_bits(1, 1), _bits(2, 2), _bits(0, 5), _bits(1, 5), _bits(15, 4)]
    parts += [_bits(lengths_of_lengths[symbol], 3) for symbol in _ORDER]
    parts += [_bits(codes[value], lengths_of_lengths[value]) for value in sent]
    return np.concatenate(parts)


def _code_lengths(counts: list[int], limit: int) -> list[int]:
    """Return Huffman code lengths of at most `limit` bits; 0 for symbols that do not occur.

    Counts are halved until the tree is shallow enough: simple, and near enough to the optimum.
    """
    if sum(1 for count in counts if count) == 1:
        counts = [
            max(count, 1) if symbol < 2 or count else 0 for symbol, count in enumerate(counts)
        ]
    while True:
        lengths = _tree_depths(counts)
        if max(lengths) <= limit:
            return lengths
        counts = [(count + 1) // 2 if count else 0 for count in counts]


def _tree_depths(counts: list[int]) -> list[int]:
    heap = [(count, symbol, (symbol,)) for symbol, count in enumerate(counts) if count]
    heapq.heapify(heap)
    depths = [0] * len(counts)
    serial = len(counts)
    while len(heap) > 1:
        first, second = heapq.heappop(heap), heapq.heappop(heap)
        members = first[2] + second[2]
        for symbol in members:
            depths[symbol] += 1
        heapq.heappush(heap, (first[0] + second[0], serial, members))
        serial += 1
    return depths


def _reversed_codes(lengths: list[int]) -> list[int]:
    """Return canonical codes (RFC 1951, 3.2.2), bit-reversed as they are sent."""
    codes = [0] * len(lengths)
    code = 0
    for size in range(1, max(lengths) + 1):
        for symbol, length in enumerate(lengths):
            if length == size:
                codes[symbol] = int(format(code, f"0{size}b")[::-1], 2)
                code += 1
        code <<= 1
    return codes
