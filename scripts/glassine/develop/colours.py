"""From a camera's colours to those of a picture: matrices, and the profile that says which."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from glassine.masters import colour, spaces

Floats = npt.NDArray[np.float64]

CAMERA = "camera"
# What pictures may be developed to: the camera's own primaries in linear light, or a space.
OUTPUTS = (CAMERA, *spaces.SPACES)


@dataclass(frozen=True)
class Output:
    """How a picture is written. matrix: balanced camera colours to linear colours of the picture
    (3, 3); curve: of `spaces.code_of`; icc: its profile."""

    name: str
    matrix: Floats
    curve: str
    icc: bytes


def to_connection_space(to_srgb: Floats) -> Floats:
    """Return the matrix from balanced camera colours to XYZ of D50, (3, 3); white is exact.

    to_srgb: balanced camera colours to linear sRGB, as raw files and LibRaw state them.
    """
    return np.asarray(colour.srgb_matrix() @ to_srgb)


def output_of(name: str, to_xyz: Floats) -> Output:
    """Return how a picture is written. name: one of OUTPUTS; to_xyz: balanced camera colours to XYZ
    of D50."""
    if name == CAMERA:
        title = "Linear light, primaries of the camera"
        icc = colour.made_profile(title, np.array([0.0, 1.0]), to_xyz)
        return Output(name, np.eye(3), "linear", icc)
    space = spaces.SPACES[name]
    matrix = np.linalg.solve(space.matrix, to_xyz)
    return Output(name, np.asarray(matrix), space.curve, spaces.profile(name, 3))


def written(light: npt.NDArray[np.float32], output: Output) -> npt.NDArray[np.uint16]:
    """Return codes of balanced camera colours (h, w, 3); what is out of 0 to 1 is cut."""
    if output.name != CAMERA:
        light = _mixed(light, output.matrix)
    if output.curve != "linear":
        codes = np.rint(spaces.code_of(light, output.curve) * 65535.0)
        return np.asarray(codes, np.uint16)
    scaled = np.clip(light, 0, 1)
    scaled *= np.float32(65535)
    return np.asarray(np.rint(scaled, out=scaled), np.uint16)


def looked_up(output: Output, light: npt.NDArray[np.float32]) -> npt.NDArray[np.uint16] | None:
    """Return for each code of a mosaic's light (65536 of them) the code that `written` makes of it,
    None where colours are mixed. light: of those codes."""
    if output.name != CAMERA:
        return None
    return written(light, output)


def _mixed(light: npt.NDArray[np.float32], matrix: Floats) -> npt.NDArray[np.float32]:
    """Return light through a matrix, by sums and products that IEEE 754 defines to the last bit."""
    by = matrix.astype(np.float32)
    red, green, blue = (light[..., place] for place in range(3))
    return np.stack([row[0] * red + row[1] * green + row[2] * blue for row in by], axis=-1)
