"""A camera's profile from patches of known colour: a matrix by least squares in linear light.

Each patch counts by its luminance to the power of -0.66, so that dark patches, whose differences
the eye sees as well, are not drowned by light ones (chosen on drawn spectra of film dyes). The bare
table, white by definition, counts as one patch more.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from glassine.base.records.parts import Capture
from glassine.develop.flat import Field
from glassine.develop.given import CameraProfile
from glassine.masters.colour import D50

Floats = npt.NDArray[np.float64]
Terms = Literal["matrix", "roots"]
_POWER, _LEAST = 0.66, 1e-3
# How far the lamp may be from the one that the profile was fitted on: ratios of the table's light.
_LAMP = 0.02


def terms(camera: Floats, kind: Terms) -> Floats:
    """Return what is mixed: red, green, blue (n, 3), or these and the roots of their products (n,
    6), which scale with the exposure as the colours do (Finlayson, Mackiewicz and Hurlbert, IEEE
    Trans. Image Process. 24 (2015), 1460-1470; value from memory)."""
    if kind == "matrix":
        return camera
    red, green, blue = np.maximum(camera, 0.0).T
    roots = (np.sqrt(red * green), np.sqrt(green * blue), np.sqrt(red * blue))
    return np.stack([red, green, blue, *roots], axis=1)


def fit(camera: Floats, xyz: Floats, kind: Terms = "matrix") -> Floats:
    """Return the matrix (3, 3 or 6) from camera colours to XYZ of D50.

    camera: (n, 3), the bare table is 1 in each; xyz: (n, 3), the table has Y = 1.
    """
    mixed = terms(np.vstack([camera, np.ones((1, 3))]), kind)
    wanted = np.vstack([xyz, D50[None]])
    weight = np.maximum(wanted[:, 1:2], _LEAST) ** -_POWER
    solved, *_ = np.linalg.lstsq(mixed * weight, wanted * weight, rcond=None)
    return np.asarray(solved.T)


def left_out(camera: Floats, xyz: Floats, kind: Terms = "matrix") -> Floats:
    """Return XYZ (n, 3) of each patch by a fit to the others."""
    count = camera.shape[0]
    return np.stack(
        [
            terms(camera[[place]], kind)[0]
            @ fit(np.delete(camera, place, 0), np.delete(xyz, place, 0), kind).T
            for place in range(count)
        ]
    )


@dataclass(frozen=True)
class Choice:
    """The profile that holds for a capture, None where none does; why its camera's do not."""

    profile: CameraProfile | None
    why_not: str = ""


def lamp_of(field: Field) -> tuple[float, float]:
    """Return red and blue of the bare table over its green, at their most."""
    red, green, blue = field.peak
    return red / green, blue / green


def choose(profiles: tuple[CameraProfile, ...], capture: Capture, field: Field | None) -> Choice:
    """Return the profile of a capture: of its camera, its lens, and the lamp of the table."""
    of_camera = [
        each
        for each in profiles
        if each.model == capture.model and each.serial in ("", capture.serial or "")
    ]
    why = ""
    for each in of_camera:
        why = _why_not(each, capture, field)
        if not why:
            return Choice(each)
    return Choice(None, why)


def _why_not(profile: CameraProfile, capture: Capture, field: Field | None) -> str:
    if profile.lens and profile.lens != (capture.lens or ""):
        return f"it is for the lens {profile.lens}, the capture has {capture.lens or 'none'}"
    if field is None:
        return "without a capture of the bare table it is not known whether the lamp is the same"
    now = lamp_of(field)
    apart = max(abs(one / other - 1) for one, other in zip(now, profile.lamp, strict=True))
    if apart > _LAMP:
        return (
            f"the lamp is another, or has changed: red and blue of the bare table are {now[0]:.3f} "
            f"and {now[1]:.3f} of green, the profile was made at {profile.lamp[0]:.3f} and "
            f"{profile.lamp[1]:.3f}"
        )
    return ""
