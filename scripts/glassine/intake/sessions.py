"""The captures of a folder in the order in which they were made."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

_RUNS = re.compile(r"([0-9]+)")
_COUNTER = re.compile(r"(.*?)([0-9]{1,12})\Z")


@dataclass(frozen=True)
class Shot:
    """When and where a file was captured. taken: seconds on the camera's clock, None where its
    header does not say; camera: make, model and serial number."""

    path: str
    taken: float | None
    camera: str

    @property
    def folder(self) -> str:
        return self.path.rpartition("/")[0]

    @property
    def counter(self) -> tuple[str, int | None]:
        """The name as the camera counts: (what stands before the number, the number)."""
        stem = PurePosixPath(self.path).stem
        match = _COUNTER.fullmatch(stem)
        return (match[1], int(match[2])) if match else (stem, None)


@dataclass(frozen=True)
class Session:
    """The captures of one camera in one folder, in order.

    other_order: the order of their names, where that is another one and no counter that began
    anew explains it. unordered: whether nothing tells the order. untimed: how many captures do not
    say when they were made, so that the order is that of the names.
    """

    shots: tuple[Shot, ...]
    other_order: tuple[Shot, ...] = ()
    unordered: bool = False
    untimed: int = 0


def by_name(path: str) -> tuple[object, ...]:
    """Return the key by which paths follow each other as a person counts: 9 before 10."""
    runs = _RUNS.split(path)
    return tuple((int(run), run) if run.isascii() and run.isdigit() else run for run in runs)


def sessions(shots: Iterable[Shot]) -> list[Session]:
    """Return the captures by session: those of one folder, camera and kind of name.

    A file that names no camera lost its header, as where it was saved anew: it belongs among the
    files of its folder that are named alike, whatever camera made them.
    """
    alike: dict[tuple[str, str], dict[str, list[Shot]]] = {}
    for shot in shots:
        cameras = alike.setdefault((shot.folder, shot.counter[0]), {})
        cameras.setdefault(shot.camera, []).append(shot)
    groups: list[list[Shot]] = []
    for _, cameras in sorted(alike.items()):
        if "" in cameras:
            groups.append([shot for group in cameras.values() for shot in group])
        else:
            groups += [group for _, group in sorted(cameras.items())]
    return [_ordered(group) for group in groups]


def _ordered(shots: list[Shot]) -> Session:
    named = sorted(shots, key=lambda shot: by_name(shot.path))
    times = [shot.taken for shot in named if shot.taken is not None]
    if len(times) < len(named):
        return Session(
            tuple(named), unordered=times != sorted(times), untimed=len(named) - len(times)
        )
    timed = sorted(named, key=lambda shot: shot.taken or 0.0)
    if timed == named or _began_anew(timed):
        return Session(tuple(timed))
    return Session(tuple(timed), tuple(named))


def _began_anew(shots: Sequence[Shot]) -> bool:
    """Return whether a counter that ran over explains that names do not rise with time."""
    numbers = [shot.counter[1] for shot in shots]
    known = [number for number in numbers if number is not None]
    falls = sum(one > other for one, other in itertools.pairwise(known))
    return len(known) == len(numbers) and falls <= 1 and known[0] > known[-1]


def missing_numbers(shots: Sequence[Shot]) -> list[tuple[Shot, Shot]]:
    """Return the neighbours between which the camera's counter leaves out numbers, where it counts
    by one as a rule."""
    pairs = []
    steps = 0
    for one, other in itertools.pairwise(shots):
        (_, first), (_, second) = one.counter, other.counter
        if first is None or second is None or second <= first:
            continue
        steps += 1
        if second - first > 1:
            pairs.append((one, other))
    return pairs if len(pairs) <= steps / 3 else []
