"""Scale and shape of the picture, from where the marks of a target lie."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from glassine.targets.description import Description
from glassine.targets.marks import MARKS_FOR_DISTORTION
from glassine.targets.placement import Placement

MM_PER_INCH = 25.4


@dataclass(frozen=True)
class Geometry:
    """ppi at the centre of the target (mean, and along its own axes), rotation_deg clockwise.

    squareness: 100 (ppi_x / ppi_y - 1). keystone: 100 (largest / smallest scale of the four
    corners - 1). distortion: radial displacement of the farthest mark in % of its distance from
    the centre of the picture, positive outwards; None with too few marks.
    """

    ppi: float
    ppi_x: float
    ppi_y: float
    rotation_deg: float
    mirrored: bool
    squareness: float
    keystone: float
    distortion: float | None
    k1: float


def measure(placement: Placement, described: Description) -> Geometry:
    """Return scale and shape of a placed target."""
    width, height = described.size_mm
    matrix = _plain(placement).scale(np.array([width / 2, height / 2]))
    ppi_x, ppi_y = np.linalg.norm(matrix, axis=0) * MM_PER_INCH
    across = matrix[:, 0] * (-1 if placement.mirrored else 1)
    plain = _plain(placement)
    corners = [np.array(at) for at in ((0, 0), (width, 0), (width, height), (0, height))]
    scales = [float(np.sqrt(abs(np.linalg.det(plain.scale(at))))) for at in corners]
    distortion = None
    if placement.seen >= MARKS_FOR_DISTORTION:
        away = plain.pixels(placement.marks_mm) - np.array(placement.centre)
        reach = float(np.square(away).sum(1).max()) / placement.half_diagonal**2
        distortion = 100 * placement.k1 * reach
    return Geometry(
        ppi=float(np.sqrt(abs(np.linalg.det(matrix))) * MM_PER_INCH),
        ppi_x=float(ppi_x),
        ppi_y=float(ppi_y),
        rotation_deg=float(np.degrees(np.arctan2(across[1], across[0]))),
        mirrored=placement.mirrored,
        squareness=100 * (float(ppi_x / ppi_y) - 1),
        keystone=100 * (max(scales) / min(scales) - 1),
        distortion=distortion,
        k1=placement.k1,
    )


def _plain(placement: Placement) -> Placement:
    """Return the placement without its radial term: scale belongs to the optical axis."""
    return replace(placement, k1=0.0)
