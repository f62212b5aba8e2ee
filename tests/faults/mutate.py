"""Damage to bytes as disks, cables and attackers do it."""

from __future__ import annotations

from random import Random

_EDGES = [0, 1, 0x7F, 0x80, 0xFF]


def mutated(data: bytes, random: Random) -> bytes:
    """Return `data` with one to eight damages, most of them among header and directory."""
    changed = bytearray(data)
    for _ in range(random.randint(1, 8)):
        if not changed:
            break
        random.choice([_flip, _set, _cut, _insert, _copy, _number])(changed, random)
    return bytes(changed)


def _place(changed: bytearray, random: Random) -> int:
    near = [min(400, len(changed)), len(changed)]
    if random.random() < 0.3:  # directories often stand at the end
        return random.randrange(max(0, len(changed) - 400), len(changed))
    return random.randrange(random.choice(near))


def _flip(changed: bytearray, random: Random) -> None:
    changed[_place(changed, random)] ^= 1 << random.randrange(8)


def _set(changed: bytearray, random: Random) -> None:
    changed[_place(changed, random)] = random.choice(_EDGES)


def _number(changed: bytearray, random: Random) -> None:
    """Put a number at the edge of its type where a tag's count, offset or value may stand."""
    place = _place(changed, random) & ~1
    value = random.choice([0, 1, 2**16 - 1, 2**31 - 1, 2**31, 2**32 - 1, len(changed)])
    order = "big" if changed[:2] == b"MM" else "little"
    changed[place : place + 4] = value.to_bytes(4, order)


def _cut(changed: bytearray, random: Random) -> None:
    if random.random() < 0.3:
        del changed[_place(changed, random) :]
    else:
        place = _place(changed, random)
        del changed[place : place + random.randint(1, 12)]


def _insert(changed: bytearray, random: Random) -> None:
    place = _place(changed, random)
    changed[place:place] = random.randbytes(random.randint(1, 12))


def _copy(changed: bytearray, random: Random) -> None:
    source, target = _place(changed, random), _place(changed, random)
    length = random.randint(1, 64)
    changed[target : target + length] = changed[source : source + length]
