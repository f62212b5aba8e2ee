"""Pictures that two items show alike: one film captured under two numbers, be it a slip of the pen.

Each access picture leaves a small signature, kept with the size and time of its file so that each
is decoded once. What agrees by it is compared fine (`masters.alike`), since frames of one view a
moment apart agree by it too; the answer is kept by the digests of both files and by what compares
them, so that it is asked once. A picture of which the signature says nothing is compared with none.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import unquote

import cv2
import msgspec
import numpy as np
import numpy.typing as npt

from glassine.base import files, hashing
from glassine.base.errors import Finding, GlassineError
from glassine.masters import alike
from glassine.report.shown import Batch

KEPT = "alike.json"
_SIDE = 12
_DECODED_PX = 96
# Of two signatures. Drawn captures made again with other crops reach 0.93 and more
# (tests/unit/report/test_near.py); the fine comparison decides.
_LIKELY = 0.88
# Deviation of a signature's brightness, of 255, below which a picture shows too little.
_LEAST = 4.0
# Pairs that are compared fine in one night (0.4 s each), and that are named.
_MOST_COMPARED, _MOST_NAMED = 200, 100
_BLOCK = 500
# Raised where pictures are made ready for the fine comparison otherwise; its answers are kept.
_FINE_VERSION = "1"
Floats = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Picture:
    """An access picture. path: of its file; shown: the path as the page has it."""

    item: str
    path: Path
    shown: str


@dataclass(frozen=True)
class Pair:
    """Two pictures of two items that agree. mirrored: where one of them is the other's mirror
    image."""

    one: Picture
    other: Picture
    mirrored: bool


def tell(batch: Batch, results: Path) -> None:
    """Say of a batch which items show the same. results: `results/<batch>/`."""
    pairs, left = found(_pictures(batch, results), results)
    batch.notes += [_finding(pair) for pair in pairs[:_MOST_NAMED]]
    left += max(0, len(pairs) - _MOST_NAMED)
    if left:
        batch.notes.append(_not_all(batch, left))


def found(pictures: list[Picture], results: Path) -> tuple[list[Pair], int]:
    """Return the pairs that show the same, and how many likely ones were not compared closer."""
    known, answers, before = _kept(results), _answers(results), _likely_before(results)
    signatures = {each.shown: _signature(each, known) for each in pictures}
    says = [each for each in pictures if signatures[each.shown].values]
    key = _state_of(says, signatures)
    if before is None or before.key != key or not before.names <= {each.shown for each in says}:
        values = np.array([signatures[each.shown].values for each in says], np.float32)
        before = _Likely.of(key, *_likely(says, values))
    by_name = {each.shown: each for each in says}
    asked = _Compared(answers)
    pairs = [pair for pair in before.among(by_name) if asked.is_same(pair)]
    if signatures or known:
        now = _Known(signatures, asked.given, before)
        if now != _Known(known, answers, _likely_before(results)):
            _keep(results, now)
    return pairs, before.count - len(before.pairs)


@dataclass(frozen=True)
class _Likely:
    """Pairs that look alike at a glance. key: of what they were found among; pairs: as names, the
    first ones; count: of all."""

    key: str
    pairs: tuple[tuple[str, str, bool], ...]
    count: int

    @classmethod
    def of(cls, key: str, pairs: list[Pair], count: int) -> _Likely:
        named = ((pair.one.shown, pair.other.shown, pair.mirrored) for pair in pairs)
        return cls(key, tuple(named), count)

    @property
    def names(self) -> set[str]:
        return {name for one, other, _ in self.pairs for name in (one, other)}

    def among(self, pictures: dict[str, Picture]) -> list[Pair]:
        return [
            Pair(pictures[one], pictures[other], mirrored) for one, other, mirrored in self.pairs
        ]


def _state_of(pictures: list[Picture], signatures: dict[str, _Signature]) -> str:
    """Return what the likely pairs depend on: each picture's item and signature, in order."""
    digest = hashlib.sha256(f"{_LIKELY} {_MOST_COMPARED}".encode())
    for each in pictures:
        digest.update(f"\n{each.item} {each.shown} ".encode("utf-8", "surrogateescape"))
        digest.update(bytes(value & 255 for value in signatures[each.shown].values))
    return digest.hexdigest()


def _pictures(batch: Batch, results: Path) -> list[Picture]:
    pictures = []
    for item in batch.items:
        for frame in item.frames:
            access = frame.files.get("access")
            if access is None or frame.exclude or frame.blank:
                continue
            path = results / "report" / unquote(access.src)
            pictures.append(Picture(item.item, path, f"{item.item}/{path.name}"))
    return pictures


@dataclass(frozen=True)
class _Signature:
    """mark: size and time of the file; values: none where the picture says nothing."""

    mark: list[int]
    values: list[int]


def _kept(results: Path) -> dict[str, _Signature]:
    try:
        content = files.read_json(results / KEPT)["signatures"]
        return {
            str(path): _Signature([int(each) for each in mark], [int(each) for each in values])
            for path, (mark, values) in content.items()
            if len(values) in (0, _SIDE**2)
        }
    except (OSError, GlassineError, AttributeError, LookupError, TypeError, ValueError):
        return {}  # made again from the pictures


def _answers(results: Path) -> dict[str, bool]:
    """Return {key of a comparison: whether both showed the same}."""
    try:
        content = files.read_json(results / KEPT)["compared"]
        return {str(key): answer for key, answer in content.items() if isinstance(answer, bool)}
    except (OSError, GlassineError, AttributeError, LookupError, TypeError):
        return {}  # compared again


def _likely_before(results: Path) -> _Likely | None:
    """Return the likely pairs of the last report, None where they are not known."""
    try:
        content = files.read_json(results / KEPT)["likely"]
        return msgspec.convert(content, _Likely)
    except (OSError, GlassineError, AttributeError, LookupError, TypeError, ValueError):
        return None  # found again; what is no such record is a ValueError of msgspec


@dataclass(frozen=True)
class _Known:
    """What is kept for the next report."""

    signatures: dict[str, _Signature]
    compared: dict[str, bool]
    likely: _Likely | None


def _keep(results: Path, known: _Known) -> None:
    listed = {path: [each.mark, each.values] for path, each in known.signatures.items()}
    likely = msgspec.to_builtins(known.likely)
    content = {"signatures": listed, "compared": known.compared, "likely": likely}
    files.write_text(results / KEPT, files.canonical(content) + "\n")


def _signature(picture: Picture, known: dict[str, _Signature]) -> _Signature:
    try:
        status = picture.path.stat()
    except OSError:
        return _Signature([0, 0], [])
    mark = [status.st_size, status.st_mtime_ns]
    before = known.get(picture.shown)
    if before is not None and before.mark == mark:
        return before
    grey = _decoded(picture.path, cv2.IMREAD_REDUCED_GRAYSCALE_8)
    if grey is not None and min(grey.shape) < _DECODED_PX:
        grey = _decoded(picture.path, cv2.IMREAD_GRAYSCALE)
    return _Signature(mark, [] if grey is None else signature(grey))


def _decoded(path: Path, flag: int) -> npt.NDArray[np.uint8] | None:
    grey = cv2.imread(str(path), flag)
    return None if grey is None else np.asarray(grey, np.uint8)


def signature(grey: npt.NDArray[np.uint8]) -> list[int]:
    """Return a square picture of 12 by 12 of a picture, row by row, lying down; empty where it
    shows too little."""
    lying = np.rot90(grey) if grey.shape[0] > grey.shape[1] else grey
    upright = np.ascontiguousarray(lying)
    small = cv2.resize(upright, (_SIDE, _SIDE), interpolation=cv2.INTER_AREA)
    if float(small.std()) < _LEAST:
        return []
    return [int(value) for value in small.ravel()]


def _likely(pictures: list[Picture], values: Floats) -> tuple[list[Pair], int]:
    """Return the first pairs of pictures of two items whose signatures agree in one of four
    positions, and how many there are: of a thousand alike half a million, which are only counted.
    """
    if len(pictures) < 2:
        return [], 0
    squares = values.reshape(-1, _SIDE, _SIDE)
    plain = _normal(squares)
    turned = [_normal(squares[:, ::-1, ::-1]), _normal(squares[:, :, ::-1])]
    turned.append(_normal(squares[:, ::-1]))
    items = np.unique([picture.item for picture in pictures], return_inverse=True)[1]
    found: list[Pair] = []
    count = 0
    for start in range(0, len(pictures), _BLOCK):
        rows = plain[start : start + _BLOCK]
        # What comes before was compared with these already.
        straight, other, across, down = (rows @ each[start:].T for each in (plain, *turned))
        np.maximum(straight, other, out=straight)
        mirrored = np.maximum(across, down, out=across)
        alike_here = np.triu(np.maximum(straight, mirrored) > _LIKELY, 1)
        alike_here &= items[start : start + _BLOCK, None] != items[None, start:]
        count += int(alike_here.sum())
        if len(found) < _MOST_COMPARED:
            for row, column in np.argwhere(alike_here)[: _MOST_COMPARED - len(found)]:
                is_mirrored = bool(mirrored[row, column] > straight[row, column])
                found.append(Pair(pictures[start + row], pictures[start + column], is_mirrored))
    return found, count


def _normal(squares: Floats) -> Floats:
    flat = squares.reshape(len(squares), -1)
    flat = flat - flat.mean(1, keepdims=True)
    return np.asarray(flat / (np.linalg.norm(flat, axis=1, keepdims=True) + 1e-6), np.float32)


@dataclass
class _Compared:
    """Comparisons by the digests of the files as they are now. known: answers of before; given:
    those of now."""

    known: dict[str, bool]
    given: dict[str, bool] = field(default_factory=dict)
    _digests: dict[Path, str] = field(default_factory=dict)

    def is_same(self, pair: Pair) -> bool:
        """Return whether two pictures agree in their details."""
        key = self._key(pair)
        if key is not None and key in self.known:
            self.given[key] = self.known[key]
            return self.known[key]
        contents = [_content(each.path) for each in (pair.one, pair.other)]
        answer = _agree(contents[0], contents[1], pair.mirrored)
        if answer is None:
            return False  # no answer, so none is kept
        self.given[_key_of([_sha256(content) for content in contents], pair)] = answer
        return answer

    def _key(self, pair: Pair) -> str | None:
        digests = []
        for each in (pair.one, pair.other):
            if each.path not in self._digests:
                self._digests[each.path] = _sha256(_content(each.path))
            digests.append(self._digests[each.path])
        return _key_of(digests, pair) if all(digests) else None


def _content(path: Path) -> bytes:
    """Return the bytes of a picture, none where it cannot be read."""
    try:
        return path.read_bytes()
    except OSError:
        return b""


def _sha256(content: bytes) -> str:
    return hashing.of_bytes(content).sha256 if content else ""


def _key_of(digests: list[str], pair: Pair) -> str:
    """Return what a comparison depends on: both files, how they lie, what compares them."""
    way = f"{alike.VERSION}.{_FINE_VERSION} {alike.SAME} OpenCV {cv2.__version__}"
    return f"{digests[0]} {digests[1]} {'mirrored' if pair.mirrored else 'straight'} {way}"


def _agree(one: bytes, other: bytes, mirrored: bool) -> bool | None:
    """Return whether two pictures agree in their details, None where one cannot be decoded."""
    greys = [_grey_of(content) for content in (one, other)]
    if greys[0] is None or greys[1] is None:
        return None
    first, second = (_of_one_shape(grey) for grey in (greys[0], greys[1]))
    if mirrored:
        second = np.ascontiguousarray(second[:, ::-1])
    likeness = alike.correlation(first, second)
    return likeness is not None and likeness >= alike.SAME


def _grey_of(content: bytes) -> npt.NDArray[np.uint8] | None:
    if not content:
        return None
    grey = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_GRAYSCALE)
    return None if grey is None else np.asarray(grey, np.uint8)


def _of_one_shape(grey: npt.NDArray[np.uint8]) -> Floats:
    """Return a picture lying down, of one size whatever its crop: crops of one frame differ by a
    few px."""
    lying = np.ascontiguousarray(np.rot90(grey) if grey.shape[0] > grey.shape[1] else grey)
    small = cv2.resize(lying, (480, 360), interpolation=cv2.INTER_AREA)
    return np.asarray(small / 255, np.float32)


def _finding(pair: Pair) -> Finding:
    mirrored = ", one of them mirrored" if pair.mirrored else ""
    return Finding(
        "report.near_identical",
        pair.one.item,
        f"{pair.one.item} and {pair.other.item} show the same picture{mirrored}: "
        f"{pair.one.shown} and {pair.other.shown}.",
        "a picture of its own for each item.",
        "Compare both with their film: one of them may have the other's number, or be a capture "
        "made again. Nothing, where there are two prints or copies of one picture.",
        "review",
    )


def _not_all(batch: Batch, left: int) -> Finding:
    return Finding(
        "report.near_identical_more",
        batch.batch,
        f"{left} further pairs of items look alike at a glance and were not compared closer.",
        "a picture of its own for each item.",
        "Look at the report's sheet of pictures for rows of the same picture.",
        "review",
    )
