"""films.json: the films that frames of several masters of a batch share."""

from __future__ import annotations

from msgspec import UNSET, UnsetType

from glassine.base.records import Record
from glassine.base.records.parts import FindingNote, Number, Positive
from glassine.base.records.stocks import StockUsed
from glassine.base.tone import Channels, FilmNote, Whence


class FilmUncertainty(Record, frozen=True, kw_only=True):
    """How far a film's values may be off: one standard deviation, log10.

    contrast: of all slopes together; ratios: of a channel's slope to the others'; balance: of a
    channel's exposure; white: of where white lies on its frames, None where one frame alone is
    known. frames: how many frames the film was estimated from.
    """

    contrast: float
    ratios: float
    balance: float
    white: float | None
    frames: int


class TrainedFilm(Record, frozen=True, kw_only=True):
    """What the trained network says of a film (`render/trained.py`), and what it goes on from when
    it looks at one of its frames.

    slopes: log10 against the usual ones; matrix: on top of the usual one, rows sum to 1; contrast,
    ratios, beside: how far mean slope, each slope against the mean and each part of the matrix may
    be off, one standard deviation. balance: log10 of exposure, mean 0, that its frames have in
    common, for these slopes and this matrix; cast: how far it may be off. facts: 16 values, what it
    knows of the film without a picture; levels: largest and mean level of its frames, log10 over
    D-min; shared, own: what it saw of its frames, which mean nothing by themselves.
    """

    facts: Channels
    levels: Channels
    shared: Channels
    own: Channels
    slopes: Channels
    matrix: tuple[Channels, ...]
    contrast: float
    ratios: float
    beside: float
    balance: Channels
    cast: float


class FilmValues(Record, frozen=True, kw_only=True):
    """What the frames of a film share; values per channel that is used.

    channels: bands of the master; dmin: density; slopes: density per log10 of exposure; balance:
    log10 of exposure; the sources in words. density_matrix: 3 x 3, tells the layers apart, None
    where each channel stands for its layer. balance_stated: whether `balance` is. light: that most
    frames were taken in. white: log10 of exposure over D-min at which white lies on most frames.
    trained: what the trained network says, absent where it was not asked.
    """

    process: str
    channels: tuple[int, ...]
    dmin: Channels
    dmin_source: str
    slopes: Channels
    slopes_source: str
    balance: Channels
    density_matrix: tuple[Channels, ...] | None
    balance_stated: bool
    light: str
    white: float | None
    uncertainty: FilmUncertainty
    trained: TrainedFilm | UnsetType = UNSET


class Deviations(Record, frozen=True, kw_only=True):
    """One standard deviation of each value, in its unit."""

    dmin: Channels
    slopes: Channels
    balance: Channels


class UsedFilm(Record, frozen=True, kw_only=True):
    """The values that frames are rendered with, and what they rest on.

    deviations: None where they rest on too few masters to tell.
    """

    note: FilmNote
    values: FilmValues
    deviations: Deviations | None


class Member(Record, frozen=True, kw_only=True):
    """The negatives of one process on a master that are, or are said to be, of a film.

    frames: their numbers, as far as they show something. apart: how far from the film they alone
    would have been exposed, log10; None where there is no film. not_pooled: why the film does not
    rest on them, though they are rendered with it. left_out: why they are not even that.
    """

    item: str
    master: str
    process: str
    frames: list[Positive]
    apart: float | None = None
    not_pooled: str | UnsetType = UNSET
    left_out: str | UnsetType = UNSET


class PooledFilm(Record, frozen=True, kw_only=True):
    """A film of a batch.

    basis: digest of all that `now` was made of; terms: of what was stated and set for it. now:
    what its frames show tonight; used: what they are rendered with; None where nothing could be
    pooled. moved: how far these are apart, log10 of exposure. stock: what `now` started from,
    absent where it is of no stock that earlier films are known of.
    """

    name: str
    whence: Whence
    basis: str
    terms: str
    members: list[Member]
    now: UsedFilm | None
    used: UsedFilm | None
    moved: float
    stock: StockUsed | UnsetType = UNSET


class Without(Record, frozen=True, kw_only=True):
    """An item whose frames could not be looked at tonight, and why: no film rests on it."""

    item: str
    why: str


class Films(Record, frozen=True, kw_only=True):
    """films.json of a batch. step: log10 of exposure from which on a film's values are changed.
    findings: why the stock library was not used, though the settings ask for it."""

    batch: str
    step: Number
    films: list[PooledFilm]
    without: list[Without]
    findings: list[FindingNote] | UnsetType = UNSET


class MasterFilm(Record, frozen=True, kw_only=True):
    """The film of one master's negatives of one process, as render is given it.

    doubt: why the master is not rendered with the film that it is named to be of; `film` is None
    then.
    """

    master: str
    process: str
    film: UsedFilm | None
    doubt: str | UnsetType = UNSET
