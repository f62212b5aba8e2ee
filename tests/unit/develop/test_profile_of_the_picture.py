"""The profile in a developed picture as another reader has it: littleCMS, by way of Pillow."""

import io

import numpy as np
import pytest
from PIL import Image, ImageCms

from glassine.develop import colours
from glassine.targets.colour import delta_e_2000, lab_from_xyz
from makers import raw_files

# Balanced colours of the invented camera to XYZ of D50: the inverse of its matrix, its white D50.
_SRGB_TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
_CAMERA = np.array(raw_files.MATRIX) @ _SRGB_TO_XYZ
TO_SRGB = np.linalg.inv(_CAMERA / _CAMERA.sum(axis=1, keepdims=True))
TO_XYZ = colours.to_connection_space(TO_SRGB)
# sRGB's primaries adapted to D50 (ICC's own profile of it; value from memory).
SRGB_D50 = np.array([[0.4361, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7141]])


def opened(name):
    return ImageCms.ImageCmsProfile(io.BytesIO(colours.output_of(name, TO_XYZ).icc))


def test_the_primaries_are_the_cameras():
    profile = opened("camera").profile
    read = np.array(
        [profile.red_colorant[0], profile.green_colorant[0], profile.blue_colorant[0]]
    ).T
    assert np.abs(read - TO_XYZ).max() < 2e-5  # s15Fixed16 has steps of 1.5e-5
    assert np.abs(read - SRGB_D50 @ TO_SRGB).max() < 1e-3
    assert read.sum(1) == pytest.approx([0.9642, 1.0, 0.8249], abs=2e-4)
    assert profile.is_matrix_shaper


def lab_of(name, codes):
    """Return Lab by littleCMS of 8-bit codes (n, 3), steps of 1."""
    picture = Image.fromarray(codes[None].astype(np.uint8), "RGB")
    lab = ImageCms.createProfile("LAB")
    transform = ImageCms.buildTransform(
        opened(name), lab, "RGB", "LAB", ImageCms.Intent.RELATIVE_COLORIMETRIC
    )
    values = np.asarray(ImageCms.applyTransform(picture, transform))[0].astype(float)
    values[:, 1:] = (values[:, 1:] + 128) % 256 - 128
    return np.stack([values[:, 0] * 100 / 255, values[:, 1], values[:, 2]], axis=1)


@pytest.mark.parametrize("name", colours.OUTPUTS)
def test_colours_are_those_that_were_written(name):
    """The camera's light, written and read by littleCMS, has the colours of its own matrix."""
    random = np.random.default_rng(2)
    mixed = 0.15 + 0.7 * random.random((40, 1)) + 0.08 * random.standard_normal((40, 3))
    light = np.vstack([np.clip(mixed, 0, 1), np.repeat(np.linspace(0.05, 1, 9)[:, None], 3, 1)])
    output = colours.output_of(name, TO_XYZ)
    codes = colours.written(light[None].astype(np.float32), output)[0]
    eight = np.rint(codes / 257)
    # What 8 bits leave of the light: compared at the codes that littleCMS is given.
    lab = lab_of(name, eight)
    inside = ((codes > 0) & (codes < 65535)).all(1)
    apart = delta_e_2000(lab, lab_from_xyz(light @ TO_XYZ.T))
    assert inside.sum() > 30
    assert np.median(apart[inside]) < 0.7  # Lab and codes of 8 bits are half a unit off
    assert apart[inside].max() < 2.5
