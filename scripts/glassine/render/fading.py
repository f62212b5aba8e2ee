"""Fading of the dyes of slides and colour prints, estimated from a picture and made up for.

Only by option (`tone.restore: faded`), only in what is shown, never in a master. Dyes fade in
proportion to what there is of each (dark fading), so a layer's density needs one factor. What is
seen in a channel is not one layer, as each dye absorbs beside its own band; so the picture's
densities are taken apart into those of the layers by a matrix (analytic densities), each is
multiplied, and the whole is put together again:

    d = A^-1 D(picture)      restored = A (strength (d - stain))

Densities are in the primaries of ITU-R BT.2020, in which dyes leave no channel below nothing. The
factors come from the picture's darkest part: in a fresh slide or print it has hardly any colour,
whatever the subject, so that the layer which is weakest there has lost most. How much the strongest
layer lost the picture does not say; it is taken to have been as dark as is usual, within limits.
A stain (yellow, of what couplers were left) is read from the lightest part, and half believed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from glassine.base.tone import Restoration

Floats = npt.NDArray[np.float64]

LAYERS = ("cyan", "magenta", "yellow")
# Share of each dye (column) in the density of the red, green and blue channel (row) of a grey.
# Rounded from curves of usual dyes as handbooks print them: value from memory.
_DYES = np.array([[1.0, 0.12, 0.02], [0.20, 1.0, 0.10], [0.10, 0.25, 1.0]])
DYES = _DYES / _DYES.sum(axis=1, keepdims=True)
# Linear sRGB to linear BT.2020 (ITU-R BT.2087-0, section 2, table of M2 for conversion).
WIDE = np.array([[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]])
# Density beyond which nothing is told apart from stray light in the camera.
DEEPEST = 3.2
# The darkest parts, per cent of the picture: what they differ in is their own colour; by more than
# the factor APART, and a person should look.
DARK, APART = (1.0, 4.0), 1.15
# Layers that differ by less (factor) than the first are left alone, by more than the second are
# equalised. Chosen on drawn films, as are the following.
UNEVEN = (1.02, 1.12)
# Analytic density of the darkest part of a fresh picture, the largest factor for all, for one.
FRESH_DARK, MOST_OF_ALL, MOST = 2.7, 1.25, 1.5
# A picture whose darkest part is lighter than the first does not tell; one between them may be
# fresh and show nothing black, and a person should look where it is changed by more than LITTLE.
TELLING_DARK, SURE_DARK, LITTLE = 1.2, 2.1, 1.05
# Lightest parts beyond this density are no white; the largest stain, and how far it is believed.
WHITE, STAIN, BELIEVED = 0.35, 0.15, 0.5

NO_DARK = (
    "Restoring faded colours was asked for, but nothing in the picture is dark enough to tell "
    "how much of each dye is lost: it is shown as it is."
)
HARDLY_DARK = (
    "Faded colours were restored, but nothing in the picture is surely black: it may not have "
    "faded, and the colour of its darkest part be its own."
)
COLOURED = (
    "Faded colours were restored, but the darkest parts of the picture are not of one colour: what "
    "is theirs may have been taken for fading."
)
TOO_MUCH = (
    "The colours are faded beyond what is made up for without a person's judgement: some of the "
    "loss is left."
)


@dataclass(frozen=True)
class Estimate:
    """What was estimated of a picture; review: why a person should look (empty as a rule)."""

    restoration: Restoration
    review: tuple[str, ...] = ()


UNTOUCHED = Restoration(strength=(1.0, 1.0, 1.0), stain=(0.0, 0.0, 0.0))


@lru_cache(maxsize=1)
def _narrow() -> Floats:
    return np.asarray(np.linalg.inv(WIDE))


@lru_cache(maxsize=1)
def _apart() -> Floats:
    return np.asarray(np.linalg.inv(DYES))


def _densities(light: npt.NDArray[Any]) -> Floats:
    """Return densities (..., 3) in the wide primaries, of linear sRGB (..., 3)."""
    wide = np.asarray(light, np.float64) @ WIDE.T
    return np.asarray(-np.log10(np.clip(wide, 10.0**-DEEPEST, None)))


def estimated(light: Floats) -> Estimate:
    """Return what makes up for the fading of a picture.

    light: linear sRGB (n, 3), not clipped, of its pixels. A picture whose layers are as strong as
    one another is left as it is: strength 1, stain 0.
    """
    layers = _densities(light) @ _apart().T
    total = layers.sum(axis=1)
    stain = _stain(layers)
    darks = [
        np.median(layers[total >= np.percentile(total, 100 - share)], axis=0) - stain
        for share in DARK
    ]
    if min(float(dark.min()) for dark in darks) < TELLING_DARK / 2:
        return Estimate(UNTOUCHED, (NO_DARK,))
    if float(darks[0].max()) < TELLING_DARK:
        return Estimate(UNTOUCHED, (NO_DARK,))
    relative, apart = _relative(darks)
    uneven = float(relative.max() / relative.min())
    sure = _step((uneven - UNEVEN[0]) / (UNEVEN[1] - UNEVEN[0]))
    of_all = np.clip(FRESH_DARK / float(darks[0].max()), 1.0, MOST_OF_ALL)
    wanted = relative.max() / relative * of_all
    strength = 1.0 + sure * (np.minimum(wanted, MOST) - 1.0)
    restoration = Restoration(
        strength=tuple(round(float(value), 4) for value in strength),
        stain=tuple(round(float(value), 4) for value in stain * sure),
    )
    review = [TOO_MUCH] if float(wanted.max()) > MOST else []
    dark, changed = float(darks[0].max()), max(restoration.strength) > LITTLE
    review += [HARDLY_DARK] if changed and dark < SURE_DARK else []
    review += [COLOURED] if sure > 0 and apart > APART else []
    return Estimate(restoration, tuple(review))


def _stain(layers: Floats) -> Floats:
    """Return the density of a stain, of the yellow layer alone, from the lightest hundredth."""
    others = layers[:, :2].max(axis=1)
    white = np.median(layers[others <= np.percentile(others, 1)], axis=0)
    if white[:2].max() >= WHITE:
        return np.zeros(3)
    extra = BELIEVED * np.clip(white[2] - white[:2].mean(), 0.0, STAIN)
    return np.array([0.0, 0.0, extra])


def _relative(darks: list[Floats]) -> tuple[Floats, float]:
    """Return how strong each layer is beside their mean, and by what factor dark parts differ."""
    logs = np.log([dark / dark.mean() for dark in darks])
    return np.asarray(np.exp(logs.mean(axis=0))), float(np.exp(np.ptp(logs, axis=0).max()))


def _step(at: float) -> float:
    """Return 0 below 0, 1 above 1, and a smooth way between."""
    part = min(max(at, 0.0), 1.0)
    return part * part * (3 - 2 * part)


def restored(light: npt.NDArray[Any], restoration: Restoration) -> Floats:
    """Return linear sRGB (..., 3) with the lost dyes made up for; as `light`, not clipped."""
    factors = DYES @ np.diag(restoration.strength) @ _apart()
    taken = DYES @ (np.array(restoration.strength) * np.array(restoration.stain))
    density = _densities(light) @ factors.T - taken
    return np.asarray(10.0**-density @ _narrow().T)


def words(restoration: Restoration) -> str:
    """Return what was made up for, in words for the report and the record."""
    if not restoration.changes:
        return "no fading was found that could be made up for"
    parts = [
        f"{name} × {value:.2f}"
        for name, value in zip(LAYERS, restoration.strength, strict=True)
        if value != 1.0
    ]
    stain = max(restoration.stain)
    parts += [f"a stain of density {stain:.2f} taken off"] if stain else []
    return f"faded dyes were made up for by an estimate ({', '.join(parts)})"
