"""Pictures that two items show alike: one film captured under two numbers, be it a slip of the pen.

Neighbours of a film that show one view are two pictures: their numbers on the film or their
densities part them, and they are named in a note. Each access picture leaves a small signature,
kept with the size and time of its file so that each is decoded once. What agrees by it is compared
fine (`masters.alike`), since frames of one view a moment apart agree by it too; the answer is kept
by the digests of both files and by what compares them, so that it is asked once. A picture of which
the signature says nothing is compared with none.
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

from glassine.base import files, hashing, parts, wording
from glassine.base.errors import Finding, GlassineError
from glassine.masters import alike
from glassine.report.shown import Batch, Frame

KEPT = "alike.json"
_SIDE = 12
_DECODED_PX = 96
# Of two signatures. Drawn captures made again with other crops reach 0.93 and more
# (tests/unit/report/test_near.py); the fine comparison decides.
_LIKELY = 0.88
# Deviation of a signature's brightness, of 255, below which a picture shows too little.
_LEAST = 4.0
# Pairs that are compared fine for the first time in one night (0.1 s each), and that are named.
_MOST_COMPARED, _MOST_NAMED = 500, 100
# Pairs that are listed for that, over all nights; more are counted.
_MOST_LIKELY = 20_000
# D-min and D-max above the film's base agree on the average by this (D) in captures of one film.
# Where no base is seen, two captures may be exposed otherwise too, so only frames of one roll are
# parted by densities. One stop is 0.15 D and more on a negative (common practice, no source: a
# gamma of 0.5 and more), less at its toe or shoulder.
_SAME_DENSITIES = 0.07
_BLOCK = 500
# Raised where pictures are made ready for the fine comparison otherwise; its answers are kept.
_FINE_VERSION = "2"
Floats = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Picture:
    """An access picture.

    path: of its file; shown: the path as the page has it. roll: of its item, "" where none is
    known; film_frame: its number on the film, "" where not known. densities: (D-min, D-max, of the
    film's base), D, each None where it was not measured.
    """

    item: str
    path: Path
    shown: str
    roll: str = ""
    film_frame: str = ""
    densities: tuple[float | None, float | None, float | None] = (None, None, None)


@dataclass(frozen=True)
class Pair:
    """Two pictures of two items that agree. mirrored: where one of them is the other's mirror
    image."""

    one: Picture
    other: Picture
    mirrored: bool

    @property
    def is_one_view_twice(self) -> bool:
        """Return whether two frames of film show one view: their numbers or densities differ."""
        numbers = {self.one.film_frame, self.other.film_frame} - {""}
        if len(numbers) == 2:
            return True
        of_roll = bool(self.one.roll) and self.one.roll == self.other.roll
        return _are_apart(self.one.densities, self.other.densities, of_roll)


def tell(batch: Batch, results: Path) -> None:
    """Say of a batch which items show the same. results: `results/<batch>/`."""
    agreeing, left = found(_pictures(batch, results), results)
    pairs = [pair for pair in agreeing if not pair.is_one_view_twice]
    findings = [_finding(pair) for pair in pairs[:_MOST_NAMED]]
    batch.notes += findings
    items = {item.item: item for item in batch.items}
    for number, pair in enumerate(pairs):
        for one, other in ((pair.one, pair.other), (pair.other, pair.one)):
            items[one.item].notes += findings[number : number + 1]
            batch.alike.setdefault(one.item, []).append(other.item)
    if views := [pair for pair in agreeing if pair.is_one_view_twice]:
        batch.notes.append(_of_views(batch, views))
    left += max(0, len(pairs) - _MOST_NAMED)
    if left:
        batch.notes.append(_not_all(batch, left))


def found(pictures: list[Picture], results: Path) -> tuple[list[Pair], int]:
    """Return the pairs that show the same, and how many likely ones were not compared closer."""
    known, answers, before = _kept(results), _answers(results), _likely_before(results)
    signatures = {each.shown: _signature(each, known) for each in pictures}
    says = [each for each in pictures if signatures[each.shown].values]
    by_name = {each.shown: each for each in says}
    key = _state_of(says, signatures)
    now = before
    if now is None or now.key != key or not now.names <= by_name.keys():
        values = np.array([signatures[each.shown].values for each in says], np.float32)
        now = _Likely.of(key, *likely(says, values))
    asked = _Compared(answers)
    pairs, left = [], now.count - len(now.pairs)
    for pair in now.among(by_name):
        same = asked.is_same(pair)
        if same is None:
            left += 1
        elif same:
            pairs.append(pair)
    changed = (signatures, asked.given, now) != (known, answers, before)
    if changed and (signatures or known):
        _keep(results, signatures, asked.given, now)
    return pairs, left


@dataclass(frozen=True)
class _Likely:
    """Pairs that look alike at a glance. key: of what they were found among; pairs: as names, the
    likeliest first; count: of all, those included that are not listed."""

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
    digest = hashlib.sha256(f"{_LIKELY} {_MOST_LIKELY}".encode())
    for each in pictures:
        digest.update(f"\n{each.item} {each.shown} ".encode("utf-8", "surrogateescape"))
        digest.update(bytes(value & 255 for value in signatures[each.shown].values))
    return digest.hexdigest()


def _pictures(batch: Batch, results: Path) -> list[Picture]:
    pictures = []
    for item in batch.items:
        # Sleeves of one make look alike, and are told apart by their codes.
        film = [each for each in item.masters if not parts.is_shown_whole(each.part)]
        for frame in (frame for master in film for frame in master.frames):
            access = frame.files.get("access")
            if access is None or frame.exclude or frame.blank:
                continue
            path = results / "report" / unquote(access.src)
            roll, _ = batch.rolls.get(item.item, ("", ""))
            pictures.append(
                Picture(
                    item.item,
                    path,
                    f"{item.item}/{path.name}",
                    roll,
                    frame.film_frame,
                    _densities(frame),
                )
            )
    return pictures


def _densities(frame: Frame) -> tuple[float | None, float | None, float | None]:
    values = {each.name: each.value for each in frame.measures}
    low, high, base = (
        float(value) if isinstance(value := values.get(name), (int, float)) else None
        for name in ("dmin", "dmax", "base_density")
    )
    return low, high, base


def _are_apart(
    one: tuple[float | None, float | None, float | None],
    other: tuple[float | None, float | None, float | None],
    of_roll: bool,
) -> bool:
    """Return whether densities say that two pictures are not of the same film. of_roll: both are
    of one roll, whose frames are captured alike."""
    above_base = one[2] is not None and other[2] is not None
    if not (above_base or of_roll):
        return False
    bases = (one[2] or 0.0, other[2] or 0.0) if above_base else (0.0, 0.0)
    lows_and_highs = zip(one[:2], other[:2], strict=True)
    apart = [
        (first - bases[0]) - (second - bases[1])
        for first, second in lows_and_highs
        if first is not None and second is not None
    ]
    return bool(apart) and abs(sum(apart) / len(apart)) > _SAME_DENSITIES


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


def _keep(
    results: Path, signatures: dict[str, _Signature], answers: dict[str, bool], found_now: _Likely
) -> None:
    listed = {path: [each.mark, each.values] for path, each in signatures.items()}
    content = {
        "signatures": listed,
        "compared": answers,
        "likely": msgspec.to_builtins(found_now),
    }
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


def likely(pictures: list[Picture], values: Floats) -> tuple[list[Pair], int]:
    """Return the pairs of pictures of two items whose signatures agree in one of four positions,
    the likeliest first, and how many there are: of a thousand pages of one register half a
    million, of which the first alone are listed."""
    if len(pictures) < 2:
        return [], 0
    squares = values.reshape(-1, _SIDE, _SIDE)
    plain = _normal(squares)
    turned = [_normal(squares[:, ::-1, ::-1]), _normal(squares[:, :, ::-1])]
    turned.append(_normal(squares[:, ::-1]))
    items = np.unique([picture.item for picture in pictures], return_inverse=True)[1]
    kept = np.empty((0, 4), np.float64)  # place of one, of the other, whether mirrored, agreement
    count = 0
    for start in range(0, len(pictures), _BLOCK):
        rows = plain[start : start + _BLOCK]
        # What comes before was compared with these already.
        straight, other, across, down = (rows @ each[start:].T for each in (plain, *turned))
        np.maximum(straight, other, out=straight)
        mirrored = np.maximum(across, down, out=across)
        agree = np.maximum(straight, mirrored)
        here = np.triu(agree > _LIKELY, 1)
        here &= items[start : start + _BLOCK, None] != items[None, start:]
        one, two = np.nonzero(here)
        count += len(one)
        new = np.column_stack(
            [one + start, two + start, (mirrored > straight)[one, two], agree[one, two]]
        )
        kept = np.concatenate([kept, new])
        kept = kept[np.argsort(-kept[:, 3], kind="stable")[:_MOST_LIKELY]]
    return [Pair(pictures[int(a)], pictures[int(b)], bool(m)) for a, b, m, _ in kept], count


def _normal(squares: Floats) -> Floats:
    flat = squares.reshape(len(squares), -1)
    flat = flat - flat.mean(1, keepdims=True)
    return np.asarray(flat / (np.linalg.norm(flat, axis=1, keepdims=True) + 1e-6), np.float32)


@dataclass
class _Compared:
    """Comparisons by the digests of the files as they are now. known: answers of before; given:
    those of now; new: how many of these were worked out."""

    known: dict[str, bool]
    given: dict[str, bool] = field(default_factory=dict)
    new: int = 0
    _digests: dict[Path, str] = field(default_factory=dict)

    def is_same(self, pair: Pair) -> bool | None:
        """Return whether two pictures agree in their details, None where as many were compared in
        this night as may be."""
        key = self._key(pair)
        if key is not None and key in self.known:
            self.given[key] = self.known[key]
            return self.known[key]
        if self.new >= _MOST_COMPARED:
            return None
        self.new += 1
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
    way = f"{alike.VERSION}.{_FINE_VERSION} {alike.SAME_FRAME} OpenCV {cv2.__version__}"
    return f"{digests[0]} {digests[1]} {'mirrored' if pair.mirrored else 'straight'} {way}"


def _agree(one: bytes, other: bytes, mirrored: bool) -> bool | None:
    """Return whether two pictures agree in their details, None where one cannot be decoded."""
    greys = [_grey_of(content) for content in (one, other)]
    if greys[0] is None or greys[1] is None:
        return None
    first, second = (_lying(grey) for grey in (greys[0], greys[1]))
    if mirrored:
        second = np.ascontiguousarray(second[:, ::-1])
    likeness = alike.of_frames(first, second)
    return likeness is not None and likeness >= alike.SAME_FRAME


def _grey_of(content: bytes) -> npt.NDArray[np.uint8] | None:
    if not content:
        return None
    grey = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_GRAYSCALE)
    return None if grey is None else np.asarray(grey, np.uint8)


def _lying(grey: npt.NDArray[np.uint8]) -> Floats:
    """Return a picture lying down, grey from 0 to 1."""
    lying = np.rot90(grey) if grey.shape[0] > grey.shape[1] else grey
    return np.ascontiguousarray(lying, np.float32) / np.float32(255)


def _finding(pair: Pair) -> Finding:
    mirrored = ", one of them mirrored" if pair.mirrored else ""
    return Finding(
        "report.near_identical",
        pair.one.item,
        f"{pair.one.item} looks like the same capture as {pair.other.item}{mirrored}: "
        f"{pair.one.shown} and {pair.other.shown}.",
        "a picture of its own for each item.",
        "Compare both with their film: one of them may have the other's number, or be a capture "
        "made again. Nothing, where there are two prints or copies of one picture.",
        "review",
    )


def _of_views(batch: Batch, pairs: list[Pair]) -> Finding:
    named = wording.some([f"{pair.one.item} and {pair.other.item}" for pair in pairs], 20)
    return Finding(
        "report.one_view_twice",
        batch.batch,
        f"{len(pairs)} pairs of items show one view, by their numbers on the film or their "
        f"densities in two exposures: {named}.",
        "a picture of its own for each item.",
        "Nothing, where the photographer exposed twice.",
        "note",
    )


def _not_all(batch: Batch, left: int) -> Finding:
    return Finding(
        "report.near_identical_more",
        batch.batch,
        f"{left} further pairs of items look alike at a glance, and were not compared closer yet "
        "or are not named.",
        "a picture of its own for each item.",
        "The next nights compare more of them. Look at the report's sheet of pictures for rows of "
        "the same picture.",
        "review",
    )
