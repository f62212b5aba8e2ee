"""The tone of a frame, as render plans it and render.json keeps it.

`Tone.from_record` and `Tone.as_record` are the only way from and to render.json. How the numbers
become a picture is told in `glassine.render.tone`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Self, TypeVar

Channels = tuple[float, ...]
T = TypeVar("T")


@dataclass(frozen=True)
class StatedEncoding:
    """How codes of the master were taken to become linear light.

    by: "profile", "batch.yaml" or "assumption"; name: of the profile, or of the encoding as
    batch.yaml writes it. kind, sha256: of the profile, None without one. assumed: whether nothing
    said how, None with a profile.
    """

    by: str
    name: str
    kind: str | None = None
    sha256: str | None = None
    assumed: bool | None = None

    @classmethod
    def from_record(cls, record: Mapping[str, Any]) -> Self:
        """Raises KeyError for what is lacking, TypeError for what is no such record."""
        profiled = _word(record, "by") == "profile"
        found = cls(
            _word(record, "by"),
            _word(record, "name"),
            kind=_word(record, "kind") if profiled else None,
            sha256=_word(record, "sha256") if profiled else None,
            assumed=None if profiled else _truth(record, "assumed"),
        )
        _check_keys(record, found.as_record(), "encoding")
        return found

    def as_record(self) -> dict[str, Any]:
        known = {"kind": self.kind, "sha256": self.sha256, "assumed": self.assumed}
        stated = {key: value for key, value in known.items() if value is not None}
        return {"by": self.by, "name": self.name, **stated}

    @property
    def stated(self) -> str | None:
        """The encoding by its name, None where a profile says it."""
        return None if self.by == "profile" else self.name


@dataclass(frozen=True)
class Shoulder:
    """Highlights rolled off: linear light (white = 1) from `start`, and `top`, shown as white."""

    start: float
    top: float

    @classmethod
    def from_record(cls, record: Mapping[str, Any]) -> Self:
        """Raises KeyError for what is lacking, TypeError for what is no such record."""
        found = cls(_number(record, "start"), _number(record, "top"))
        _check_keys(record, found.as_record(), "shoulder")
        return found

    def as_record(self) -> dict[str, Any]:
        return {"start": self.start, "top": self.top}


@dataclass(frozen=True)
class Clipped:
    """Shares (%) of samples at the ends of their range, in the master and as rendered."""

    master_high: float
    master_low: float
    rendered_high: float
    rendered_low: float

    @classmethod
    def from_record(cls, record: Mapping[str, Any]) -> Self:
        """Raises KeyError for what is lacking, TypeError for what is no such record."""
        found = cls(
            _number(record, "master_high"),
            _number(record, "master_low"),
            _number(record, "rendered_high"),
            _number(record, "rendered_low"),
        )
        _check_keys(record, found.as_record(), "clipped_percent")
        return found

    def as_record(self) -> dict[str, Any]:
        return {
            "master_high": self.master_high,
            "master_low": self.master_low,
            "rendered_high": self.rendered_high,
            "rendered_low": self.rendered_low,
        }


@dataclass(frozen=True)
class Inversion:
    """How a negative becomes a picture; values per channel that is used.

    dmin: density of the film base; slopes: density per log10 of exposure, of the straight line;
    dmin_source, slopes_source: where they come from, in words. balance, exposure: log10 of
    exposure, of each channel and of all. toe: share (0 to 1) of the exposure at dmin that is shown
    as black.
    """

    dmin: Channels
    dmin_source: str
    slopes: Channels
    slopes_source: str
    balance: Channels
    exposure: float
    toe: float

    @classmethod
    def from_record(cls, record: Mapping[str, Any]) -> Self:
        """Raises KeyError for what is lacking, TypeError for what is no such record."""
        return cls(
            _numbers(record["dmin"], "dmin"),
            _word(record, "dmin_source"),
            _numbers(record["slopes"], "slopes"),
            _word(record, "slopes_source"),
            _numbers(record["balance"], "balance"),
            _number(record, "exposure"),
            _number(record, "toe"),
        )

    def as_record(self) -> dict[str, Any]:
        return {
            "dmin": list(self.dmin),
            "dmin_source": self.dmin_source,
            "slopes": list(self.slopes),
            "slopes_source": self.slopes_source,
            "balance": list(self.balance),
            "exposure": self.exposure,
            "toe": self.toe,
        }


@dataclass(frozen=True)
class Conversion:
    """How a positive becomes a picture: through its profile. black: linear light shown as black."""

    black: float
    intent: str = "relative colorimetric"
    black_point_compensation: bool = True

    @classmethod
    def from_record(cls, record: Mapping[str, Any]) -> Self:
        """Raises KeyError for what is lacking, TypeError for what is no such record."""
        compensated = _truth(record, "black_point_compensation")
        return cls(_number(record, "black"), _word(record, "intent"), compensated)

    def as_record(self) -> dict[str, Any]:
        return {
            "black": self.black,
            "intent": self.intent,
            "black_point_compensation": self.black_point_compensation,
        }


@dataclass(frozen=True)
class Tone:
    """All that decides a frame's pixels once it is cut out, and what was seen on the way.

    version: of the planning; rendering: in words. bits, master_bands: samples of the master;
    encoding: their meaning. channels: the master's bands that are used, from 0; bands: those of
    the picture (1 or 3). way: by which light of the master becomes light of the picture.
    matrix: (bands x channels) from the master's linear light, after `way`, to linear sRGB; None
    where the channels are shown as they are. review: why a person should look (empty as a rule).
    clipped: None until it is measured; a record always holds it.
    """

    version: str
    rendering: str
    process: str
    bits: int
    master_bands: int
    bands: int
    channels: tuple[int, ...]
    encoding: StatedEncoding
    way: Inversion | Conversion
    matrix: tuple[Channels, ...] | None
    shoulder: Shoulder | None
    review: tuple[str, ...] = ()
    clipped: Clipped | None = None

    @classmethod
    def from_record(cls, record: Mapping[str, Any]) -> Self:
        """Return the tone that `as_record` wrote.

        What a later version adds needs a value here for records without it: those of settled
        items are read for as long as their batch is reported.
        Raises KeyError for what is lacking, TypeError for what is no such record or has more.
        """
        if not isinstance(record, Mapping):
            raise TypeError(f"a tone, {type(record).__name__} in its place")
        negative = _word(record, "rendering").startswith("negative")
        matrix, shoulder = record["matrix"], record["shoulder"]
        found = cls(
            version=_word(record, "version"),
            rendering=_word(record, "rendering"),
            process=_word(record, "process"),
            bits=_whole(record, "bits"),
            master_bands=_whole(record, "master_bands"),
            bands=_whole(record, "bands"),
            channels=_tuple(record["channels"], "channels", _as_whole),
            encoding=StatedEncoding.from_record(record["encoding"]),
            way=Inversion.from_record(record) if negative else Conversion.from_record(record),
            matrix=None if matrix is None else _tuple(matrix, "matrix", _numbers),
            shoulder=None if shoulder is None else Shoulder.from_record(shoulder),
            review=_tuple(record["review"], "review", _as_word),
            clipped=Clipped.from_record(record["clipped_percent"]),
        )
        _check_keys(record, found.as_record(), "tone")
        return found

    @classmethod
    def of_frame(cls, frame: Mapping[str, Any]) -> Self | None:
        """Return the tone in a frame's entry of render.json, None where it was skipped."""
        record = frame.get("tone")
        return None if record is None else cls.from_record(record)

    def as_record(self) -> dict[str, Any]:
        """Return what stands in render.json. Raises ValueError before `clipped` is measured."""
        if self.clipped is None:
            raise ValueError("the tone is not complete: what is clipped was not measured")
        return {
            "version": self.version,
            "rendering": self.rendering,
            "process": self.process,
            "bits": self.bits,
            "master_bands": self.master_bands,
            "bands": self.bands,
            "channels": list(self.channels),
            "encoding": self.encoding.as_record(),
            **self.way.as_record(),
            "matrix": None if self.matrix is None else [list(row) for row in self.matrix],
            "shoulder": None if self.shoulder is None else self.shoulder.as_record(),
            "review": list(self.review),
            "clipped_percent": self.clipped.as_record(),
        }


def _check_keys(record: Mapping[str, Any], known: dict[str, Any], name: str) -> None:
    """Raise TypeError where a record says more than is read of it: nothing is dropped."""
    more = sorted(set(record) - set(known))
    if more:
        raise TypeError(f"a {name} without {', '.join(map(str, more))}")


def _as_word(value: Any, name: str) -> str:
    if not isinstance(value, str):
        raise TypeError(f"text as {name}")
    return value


def _truth(record: Mapping[str, Any], key: str) -> bool:
    value = record[key]
    if not isinstance(value, bool):
        raise TypeError(f"true or false as {key}")
    return value


def _as_whole(value: Any, name: str) -> int:
    if not isinstance(value, int) or isinstance(value, bool):
        raise TypeError(f"a whole number as {name}")
    return value


def _as_number(value: Any, name: str) -> float:
    """Return `value` as it is: a whole number stays one, so that it is written as it was."""
    if not isinstance(value, int | float) or isinstance(value, bool):
        raise TypeError(f"a number as {name}")
    return value


def _tuple(value: Any, name: str, part: Callable[[Any, str], T]) -> tuple[T, ...]:
    if not isinstance(value, list | tuple):
        raise TypeError(f"a list as {name}")
    return tuple(part(each, name) for each in value)


def _numbers(value: Any, name: str) -> Channels:
    return _tuple(value, name, _as_number)


def _word(record: Mapping[str, Any], key: str) -> str:
    return _as_word(record[key], key)


def _whole(record: Mapping[str, Any], key: str) -> int:
    return _as_whole(record[key], key)


def _number(record: Mapping[str, Any], key: str) -> float:
    return _as_number(record[key], key)
