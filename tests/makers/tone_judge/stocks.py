"""Film: what its layers take up of a scene, the dyes that they form, and what time does to them.

Densities are of single layers ("analytic"): 1.0 is a dye's density at its peak.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.ndimage import gaussian_filter

from makers.tone_judge.spectra import ILLUMINANTS, NM, bump, observer, planck, surfaces

# Layers that see red, green and blue. Sensitivities overlap, and the lower layers see some blue.
SEES = np.stack(
    [
        bump(645, 32, 20) + 0.02 * bump(440, 25),
        bump(548, 26, 22) + 0.04 * bump(445, 25),
        bump(450, 30, 25),
    ]
)
# Dyes that these form: cyan, magenta and yellow, with what each absorbs beside its own band.
CYAN_UNWANTED = 0.12 * bump(440, 60)
MAGENTA_UNWANTED = 0.20 * bump(430, 45)
DYES = np.stack(
    [
        bump(685, 70, 55) + CYAN_UNWANTED,
        bump(546, 33, 30) + MAGENTA_UNWANTED + 0.04 * bump(640, 40),
        bump(444, 32, 40) + 0.03 * bump(560, 60),
    ]
)
# Dye amount at which no coloured coupler is left.
MOST = 2.6
PANCHROMATIC = bump(590, 60, 45) + 0.8 * bump(460, 45)
ORTHOCHROMATIC = bump(540, 30, 20) + 0.9 * bump(440, 40)


@dataclass(frozen=True)
class Curve:
    """A layer's curve over log10 of exposure (0: white of a scene exposed as it should be).

    Straight line of `slope` from `foot` to `foot` + `reach`, with bends `soft` wide (log10).
    """

    slope: float
    foot: float
    reach: float
    soft: float

    def density(self, log_exposure: np.ndarray) -> np.ndarray:
        def bend(at: np.ndarray) -> np.ndarray:
            return self.soft * np.logaddexp(0, at / self.soft)

        above = log_exposure - self.foot
        return np.asarray(self.slope * (bend(above) - bend(above - self.reach)))


@dataclass(frozen=True)
class Stock:
    """A film as it was developed.

    base: density by wavelength; curves: a layer each; mask: share of the unwanted absorptions of
    magenta and cyan that coloured couplers make up for; restrain: how much each layer's density
    holds the other layers back (log10 of exposure for a density of 1); fog: density of each layer
    without light; lost: share of each dye that is gone; stain: density by wavelength; grain: rms
    density at a density of 1; reversed_: a slide.
    """

    base: np.ndarray
    curves: tuple[Curve, ...]
    mask: float
    restrain: float = 0.0
    fog: tuple[float, ...] = (0.0, 0.0, 0.0)
    lost: tuple[float, ...] = (0.0, 0.0, 0.0)
    stain: float = 0.0
    grain: float = 0.012
    monochrome: bool = False
    sees: np.ndarray | None = None
    reversed_: bool = False

    def through(self, amounts: np.ndarray) -> np.ndarray:
        """Return the transmittance (..., 31) of dye amounts (..., layers)."""
        if self.monochrome:
            # Silver scatters blue a little more.
            density = amounts * (1 + 0.03 * (550 - NM) / 150)
            return np.asarray(10 ** -(density + self.base + self.stain * bump(400, 60)))
        amounts = amounts + np.array(self.fog)
        kept = 1 - np.array(self.lost)
        density = (amounts * kept) @ DYES
        for layer, unwanted in enumerate((CYAN_UNWANTED, MAGENTA_UNWANTED)):
            unused = np.clip(MOST - amounts[..., layer, None], 0, None) * self.mask
            density = density + unused * unwanted
        return np.asarray(10 ** -(density + self.base + self.stain * bump(410, 45)))


def negative(rng: np.random.Generator, masked: bool = True) -> Stock:
    """Return a colour negative film: slopes 0.5 to 0.7, masked or not."""
    middle = rng.uniform(0.52, 0.68)
    curves = tuple(
        Curve(
            slope=float(np.clip(middle + rng.normal(0, 0.02) + lift, 0.5, 0.7)),
            foot=float(rng.uniform(-2.3, -1.9)),
            reach=float(rng.uniform(2.9, 3.5)),
            soft=float(rng.uniform(0.08, 0.2)),
        )
        for lift in (-0.01, 0.0, 0.02)
    )
    base = 0.05 + rng.uniform(0.02, 0.12) + rng.uniform(0, 0.08) * bump(420, 60)
    fog = tuple(rng.uniform(0.04, 0.12, 3))
    mask = rng.uniform(0.75, 1.0) if masked else 0.0
    return Stock(base, curves, mask, rng.choice([0.0, 0.06]), fog, grain=rng.uniform(0.006, 0.018))


def monochrome(rng: np.random.Generator) -> Stock:
    """Return a black and white negative film: contrast 0.45 to 0.8."""
    curve = Curve(
        slope=float(rng.uniform(0.45, 0.8)),
        foot=float(rng.uniform(-2.4, -1.9)),
        reach=float(rng.uniform(2.8, 3.4)),
        soft=float(rng.uniform(0.1, 0.22)),
    )
    base = rng.uniform(0.05, 0.3) + rng.uniform(0, 0.06) * bump(rng.choice([450.0, 600.0]), 60)
    sees = PANCHROMATIC if rng.random() < 0.75 else ORTHOCHROMATIC
    return Stock(base, (curve,), 0.0, grain=rng.uniform(0.01, 0.025), monochrome=True, sees=sees)


@lru_cache(maxsize=1)
def grey_amounts() -> tuple[float, ...]:
    """Return the amounts of the dyes that are grey together, of density 1, before 5000 K."""
    seen = observer() * planck(5000)
    white = seen.sum(axis=1)
    amounts = np.ones(3)
    for _ in range(8):  # Newton's steps
        through = 10 ** -(amounts @ DYES)
        slopes = -np.log(10) * (seen * through) @ DYES.T
        amounts = amounts + np.linalg.solve(slopes, 0.1 * white - seen @ through)
    return tuple(amounts.tolist())


def slide(rng: np.random.Generator) -> Stock:
    """Return a slide film: no mask; its curves run down with exposure, and grey stays grey."""
    curves = tuple(
        Curve(1.45 * amount * rng.uniform(0.98, 1.02), foot, 2.2, 0.12)
        for amount, foot in zip(grey_amounts(), -0.05 + rng.normal(0, 0.015, 3), strict=True)
    )
    base = np.full(NM.size, rng.uniform(0.03, 0.07))
    return Stock(base, curves, 0.0, grain=0.008, reversed_=True)


def faded(stock: Stock, rng: np.random.Generator) -> Stock:
    """Return the film after decades: 10 to 40 % of each dye lost, and a stain."""
    return replace(stock, lost=tuple(rng.uniform(0.1, 0.4, 3)), stain=rng.uniform(0.02, 0.1))


def expired(stock: Stock, rng: np.random.Generator) -> Stock:
    """Return the film exposed long after its time: fog, less contrast, less speed, by layer."""
    curves = tuple(
        replace(c, slope=c.slope * rng.uniform(0.8, 0.95), foot=c.foot + rng.uniform(0.1, 0.35))
        for c in stock.curves
    )
    fog = tuple(np.array(stock.fog) + rng.uniform(0.08, 0.3, 3))
    return replace(stock, curves=curves, fog=fog, grain=stock.grain * 1.6)


def exposures(stock: Stock, scene: np.ndarray, light: np.ndarray) -> np.ndarray:
    """Return each layer's exposure of a scene; 1 is a white surface in daylight.

    scene: linear sRGB of the surfaces (h, w, 3), white 1; light: its spectrum.
    """
    sees = SEES if stock.sees is None else stock.sees[None]
    taken = (sees * light) @ surfaces()
    # Bodies and lenses give the film the same exposure whatever the light: the meter sees green.
    meter = bump(550, 50)
    level = (meter @ light) / (meter @ ILLUMINANTS["daylight"])
    white = (sees @ ILLUMINANTS["daylight"])[:, None]
    return np.asarray(np.clip(scene @ (taken / white).T / level, 1e-5, None))


def develop(stock: Stock, exposed: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return the dye amounts (h, w, layers) that exposures (h, w, layers) leave, with grain."""
    logs = np.log10(exposed)
    if stock.reversed_:
        logs = -logs - 2.0
        curves = [Curve(c.slope, c.foot - 2.0, c.reach, c.soft) for c in stock.curves]
    else:
        curves = list(stock.curves)
    amounts = _through_curves(curves, logs)
    if stock.restrain:
        others = amounts.sum(axis=-1, keepdims=True) - amounts
        # Held back in proportion to what the others have more than itself.
        amounts = _through_curves(curves, logs - stock.restrain * (others / 2 - amounts))
    noise = gaussian_filter(rng.normal(size=amounts.shape), (0.6, 0.6, 0)) * 2.2
    amounts = amounts + stock.grain * noise * np.sqrt(np.clip(amounts, 0.02, None))
    return np.asarray(np.clip(amounts, 0, None))


def _through_curves(curves: list[Curve], logs: np.ndarray) -> np.ndarray:
    return np.stack([c.density(logs[..., k]) for k, c in enumerate(curves)], axis=-1)
