"""The picture's own edges above the grain, and how sharp they are."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from glassine.masters import ranks
from glassine.render.quality.patches import Floats, Patch

Doubles = npt.NDArray[np.float64]

# Profiles across an edge reach so far to each side, px, in steps of HALF; each is the mean of
# 2 ALONG + 1 of them side by side, so that grain is averaged away along the edge.
ACROSS, STEP, ALONG = 11.0, 0.5, 8
# Smoothings (sigma, px) of a profile's slope that its blur is read from.
FINE, COARSE = 1.0, 2.0
# Edges of one patch and one of eight directions that are looked at, the strongest.
OF_A_DIRECTION = 25
# An edge is a step: the share of its profile's whole range that lies between its two ends.
STEP_SHARE = 0.75
# A step counts from so many times the grain that is left in its profile.
ABOVE_GRAIN = 8.0
LEAST_EDGES = 24


@dataclass(frozen=True)
class Edges:
    """variance: px^2, of the Gaussian that blurs each edge; angle: of its normal, 0 to pi."""

    variance: Doubles
    angle: Doubles


def of_patches(patches: list[Patch], band: int) -> Edges:
    """Return the edges of all patches that rise above the grain."""
    parts = [_of_patch(np.ascontiguousarray(patch.density[..., band])) for patch in patches]
    if not parts:
        return Edges(np.zeros(0), np.zeros(0))
    return Edges(
        np.concatenate([part.variance for part in parts]),
        np.concatenate([part.angle for part in parts]),
    )


def blur(edges: Edges) -> float | None:
    """Return sigma (px) of a Gaussian that blurs the sharpest edges; None where too few are seen.

    The sharpest fifth counts, since the picture itself holds soft edges.
    """
    if len(edges.variance) < LEAST_EDGES:
        return None
    return float(np.sqrt(max(np.percentile(edges.variance, 20), 0.0)))


def _of_patch(density: Floats) -> Edges:
    places, angles = _candidates(density)
    if len(places) == 0:
        return Edges(np.zeros(0), np.zeros(0))
    profiles = _profiles(density, places, angles)
    grain = _grain(density) / np.sqrt(2 * ALONG + 1)
    ends = int(4 / STEP)
    step = np.abs(profiles[:, -ends:].mean(axis=1) - profiles[:, :ends].mean(axis=1))
    whole = np.ptp(profiles, axis=1)
    good = (step > STEP_SHARE * whole) & (step > ABOVE_GRAIN * grain)
    profiles, angles = profiles[good], angles[good]
    if len(profiles) == 0:
        return Edges(np.zeros(0), np.zeros(0))
    fine, coarse = (np.abs(_slope(profiles, sigma)) for sigma in (FINE, COARSE))
    middle = slice(int((ACROSS - 2) / STEP), int((ACROSS + 2) / STEP) + 1)
    r2 = (fine[:, middle].max(axis=1) / np.maximum(coarse[:, middle].max(axis=1), 1e-9)) ** 2
    r2 = np.clip(r2, 1.02, (COARSE / FINE) ** 2)
    # At a step blurred by s the slope smoothed by S peaks at step / sqrt(2 pi (s^2 + S^2)).
    return Edges((COARSE**2 - r2 * FINE**2) / (r2 - 1.0), angles % np.pi)


def _candidates(density: Floats) -> tuple[npt.NDArray[np.intp], Doubles]:
    """Return places (n, 2: y, x) on ridges of the gradient, and the angles of their normals."""
    reach = int(ACROSS + ALONG / 2) + 2
    if min(density.shape) < 2 * reach + 16:
        return np.zeros((0, 2), np.intp), np.zeros(0)
    half = cv2.resize(density, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    smooth = cv2.GaussianBlur(half, (0, 0), 1.25, borderType=cv2.BORDER_REFLECT)
    kernel = np.array([[-0.5, 0.0, 0.5]], np.float32)
    dx, dy = cv2.filter2D(smooth, cv2.CV_32F, kernel), cv2.filter2D(smooth, cv2.CV_32F, kernel.T)
    xx, yy, xy = (cv2.GaussianBlur(each, (0, 0), 1.5) for each in (dx * dx, dy * dy, dx * dy))
    spread = np.sqrt((xx - yy) ** 2 + 4 * xy**2)
    straight = spread > 0.6 * (xx + yy)
    strength = np.sqrt(dx * dx + dy * dy)
    highest = strength >= cv2.dilate(strength, np.ones((3, 3), np.uint8)) * 0.98
    good = straight & highest & (strength > 3.0 * ranks.median(strength))
    edge = (reach + 1) // 2
    good[:edge] = good[-edge:] = False
    good[:, :edge] = good[:, -edge:] = False
    y, x = np.nonzero(good)
    angle = 0.5 * np.arctan2(2 * xy[y, x], (xx - yy)[y, x]).astype(np.float64) % np.pi
    bins = (angle / np.pi * 8).astype(int) % 8
    order = np.argsort(-strength[y, x], kind="stable")
    chosen = [order[bins[order] == each][: 4 * OF_A_DIRECTION][::4] for each in range(8)]
    take = np.concatenate(chosen)
    return 2 * np.stack([y[take], x[take]], axis=1), angle[take]


def _profiles(density: Floats, places: npt.NDArray[np.intp], angles: Doubles) -> Floats:
    """Return the mean profile (n, steps) across each edge."""
    u = np.arange(-ACROSS, ACROSS + STEP / 2, STEP)
    v = np.arange(-ALONG, ALONG + 1.0)
    cos, sin = np.cos(angles)[:, None, None], np.sin(angles)[:, None, None]
    x = places[:, 1, None, None] + u[None, :, None] * cos - v[None, None, :] * sin
    y = places[:, 0, None, None] + u[None, :, None] * sin + v[None, None, :] * cos
    flat = (len(places), len(u) * len(v))
    found = cv2.remap(
        density,
        x.reshape(flat).astype(np.float32),
        y.reshape(flat).astype(np.float32),
        cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REFLECT,
    )
    return np.asarray(found.reshape(len(places), len(u), len(v)).mean(axis=2))


def _slope(profiles: Floats, sigma: float) -> Floats:
    """Return the slope of profiles, smoothed along them by `sigma` px."""
    wide = int(4 * sigma / STEP)
    u = np.arange(-wide, wide + 1) * STEP
    kernel = (u * np.exp(-(u**2) / (2 * sigma**2))).astype(np.float32)
    kernel = kernel / np.float32((u * kernel).sum())
    return np.asarray(
        cv2.filter2D(profiles, cv2.CV_32F, kernel[None], borderType=cv2.BORDER_REPLICATE)
    )


def _grain(density: Floats) -> float:
    """Return the usual deviation of neighbouring pixels: grain rather than picture."""
    step = density[:, 1:] - density[:, :-1]
    return float(ranks.median(np.abs(step))) / 0.6745
