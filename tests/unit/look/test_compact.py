"""A frame's look, kept and read back: small, the same each time, and it tells the same film."""

import dataclasses

import msgspec
import numpy as np
import pytest

from glassine.base.model import Facts
from glassine.base.records.looks import FrameLook
from glassine.look import compact
from glassine.masters import colour
from glassine.render import looks, negative_film, pool
from glassine.render.estimate import Known, estimate, primaries_of
from glassine.render.given import FilmStock
from makers import rolls
from makers.tone import negatives, sources

LINEAR = primaries_of(colour.encoding_of(sources.linear_profile(), None, 16, 3))
SHOWN = rolls.pictures(6)


def looked(number, positive):
    rng = np.random.default_rng(number)
    codes, box = negatives.master(rolls.film(number), positive, rng, base=True)
    source = sources.ArraySource(codes)
    encoding = colour.encoding_of(sources.linear_profile(), None, 16, 3)
    geometry = sources.geometry(source, box, "colour")
    base = negative_film.base_of(source, geometry, encoding)
    return looks.look(source, geometry.frames[0], encoding), base


@pytest.mark.parametrize("number", range(6))
def test_the_same_film_is_told_from_what_was_kept(number):
    seen, base = looked(number, SHOWN[number])
    kept = compact.kept(seen)
    assert len(msgspec.json.encode(kept)) <= 100_000
    known = Known("colour", (0, 1, 2), base, Facts(), FilmStock(), LINEAR)
    full, back = (estimate([each], known) for each in (seen, compact.read(kept, 3)))
    # Against films that differ by 0.06 (slopes, log10): nothing that matters is lost.
    assert np.abs(np.log10(np.array(full.slopes) / np.array(back.slopes))).max() < 0.012
    # The colour of white, 1.3 above D-min: there slopes and balance make up for one another.
    white = [np.array(film.balance) + 1.3 / np.array(film.slopes) for film in (full, back)]
    apart = white[0] - white[1]
    assert np.abs(apart - apart.mean()).max() < 0.003


def test_percentiles_at_both_ends_are_kept():
    seen, _ = looked(1, SHOWN[0])
    back = compact.read(compact.kept(seen), 3)
    assert len(back.calm) == len(seen.calm)
    for share in (0.05, 50, 99.5, 99.98):
        there, here = (
            np.percentile(colour.density(each.calm), share, axis=0) for each in (seen, back)
        )
        assert np.abs(there - here).max() < (0.01 if share == 50 else 0.002)


def test_the_same_look_gives_the_same_bytes_in_any_order():
    seen, _ = looked(2, SHOWN[1])
    shuffled = looks.Look(seen.frame, seen.codes, seen.light, seen.calm[::-1], seen.picture)
    assert compact.kept(seen) == compact.kept(shuffled)


def test_the_largest_noise_fits_and_a_tiny_frame_is_kept_whole():
    rng = np.random.default_rng(1)
    noise = 10.0 ** -rng.uniform(0, 4, (60_000, 3))
    frame = looked(1, SHOWN[0])[0].frame
    seen = looks.Look(frame, noise, noise, noise, rng.uniform(0, 4, (400, 400, 3)))
    assert len(msgspec.json.encode(compact.kept(seen))) <= 100_000
    few = looks.Look(frame, noise[:5], noise[:5], noise[:5], None)
    kept = compact.kept(few)
    assert kept.picture is None
    back = np.sort(colour.density(compact.read(kept, 3).calm), axis=0)
    assert np.abs(back - np.sort(colour.density(noise[:5]), axis=0)).max() < 1 / compact.PLACE_STEPS


@pytest.mark.parametrize(
    "change",
    [
        lambda raw: raw["samples"].update(count=raw["samples"]["count"] + 1),
        lambda raw: raw["samples"].update(density="AAAA"),
        lambda raw: raw["samples"].update(places=raw["samples"]["density"]),
        lambda raw: raw["picture"].update(width=999),
    ],
)
def test_a_damaged_record_is_refused(change):
    raw = msgspec.to_builtins(compact.kept(looked(1, SHOWN[0])[0]))
    change(raw)
    with pytest.raises(ValueError):
        compact.read(msgspec.convert(raw, FrameLook), 3)


def test_a_film_keeps_each_of_its_values_in_its_record():
    """A value that a film gains must reach the frames that are rendered with it."""
    known = Known("colour", (0, 1, 2), (), Facts(), FilmStock(), LINEAR)
    film = estimate([looked(1, SHOWN[0])[0]], known)
    kept = pool.values_of(film)
    again = pool.of_values(kept)
    # The matrix is of the master's profile, the usual base of the primaries; what was learned of the
    # stock is in the slopes.
    names = {*film.__dataclass_fields__} - {"matrix", "usual_base", "learned"}
    assert names == {*kept.__struct_fields__}
    for name in names:
        before, after = getattr(film, name), getattr(again, name)
        assert _numbers(before) == pytest.approx(_numbers(after), abs=1e-6)


def _numbers(value):
    """Return what a value holds, in a row; words by their letters' numbers."""
    if dataclasses.is_dataclass(value):
        return _numbers(dataclasses.astuple(value))
    if isinstance(value, str):
        return [float(ord(letter)) for letter in value]
    if isinstance(value, tuple):
        return [number for each in value for number in _numbers(each)]
    return [-1.0 if value is None else float(value)]
