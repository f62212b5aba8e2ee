"""Find a target by its outline: four sides that stand out from their surround."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
import numpy.typing as npt

from glassine.targets.capture import Capture
from glassine.targets.colour import Array
from glassine.targets.description import Description
from glassine.targets.placement import NotFound, Placement, best_orientation


def by_outline(
    capture: Capture, described: Description, grey: npt.NDArray[np.float32]
) -> Placement:
    """Return where the target lies by its outline. grey: see `find`. Raises NotFound."""
    corners = _quadrilateral(grey)
    if corners is None:
        raise NotFound("no four-sided outline of fitting shape stands out from its surround", [])
    _, factor = capture.small
    rough = (corners + 0.5) * factor
    seen = [(float(x), float(y), 3.0 * factor) for x, y in rough]
    sides = [_side(capture, rough[i], rough[(i + 1) % 4], factor) for i in range(4)]
    if any(side is None for side in sides):
        raise NotFound("a side of the outline could not be followed in full resolution", seen)
    lines = [side for side in sides if side is not None]
    exact = np.array([_meet(lines[i - 1][0], lines[i][0]) for i in range(4)])
    width, height = described.size_mm
    outline = np.array([[0, 0], [width, 0], [width, height], [0, height]])
    maps: list[tuple[int, Array]] = []
    for turned in range(4):
        for order in (exact, exact[::-1]):
            to_px, _ = cv2.findHomography(outline, np.roll(order, turned, axis=0), 0)
            if to_px is not None:
                # `best_orientation` works in px of the small copy.
                back = np.array([[1 / factor, 0, -0.5], [0, 1 / factor, -0.5], [0, 0, 1]])
                maps.append((0, np.asarray(back @ to_px, dtype=float)))
    chosen = best_orientation(capture, described, maps, grey)
    if chosen is None:
        raise NotFound(
            "an outline was found, but its patches have other tones than described", seen
        )
    homography, agreement = chosen
    residuals = np.concatenate([side[1] for side in lines])
    centre = (capture.width / 2, capture.height / 2)
    none = np.empty((0, 2))
    return Placement(
        homography,
        0.0,
        centre,
        float(np.hypot(*centre)),
        (float(np.sqrt(np.mean(residuals**2))), float(np.abs(residuals).max())),
        4,
        4,
        agreement,
        none,
        none,
        np.empty((0, capture.bands, 2)),
    )


def _quadrilateral(grey: npt.NDArray[np.float32]) -> Array | None:
    """Return the corners (4, 2) of the largest four-sided area, in px of the small copy."""
    largest: tuple[float, Array] | None = None
    for contour in _contours(grey):
        area = float(cv2.contourArea(contour))
        if area < 0.05 * grey.size or area > 0.97 * grey.size:
            continue
        corners = _four_corners(contour, area)
        if corners is not None and (largest is None or area > largest[0]):
            largest = (area, corners)
    return None if largest is None else largest[1]


def _contours(grey: npt.NDArray[np.float32]) -> Iterator[npt.NDArray[np.int32]]:
    """Return the contours of what is lighter, and of what is darker, than several thresholds."""
    eight = np.round(grey * 255).astype(np.uint8)
    level, _ = cv2.threshold(eight, 0, 255, cv2.THRESH_OTSU)
    for threshold in {level, level * 0.5, level * 0.75, (level + 255) / 2, level * 0.25}:
        for mask in ((eight > threshold), (eight <= threshold)):
            contours, _ = cv2.findContours(
                mask.astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE
            )
            yield from (np.asarray(contour, dtype=np.int32) for contour in contours)


def _four_corners(contour: npt.NDArray[np.int32], area: float) -> Array | None:
    """Return the corners (4, 2) of a contour, None where it is no filled four-sided shape."""
    hull = cv2.convexHull(contour)
    shape = cv2.approxPolyDP(hull, 0.02 * cv2.arcLength(hull, True), True)
    if len(shape) != 4 or cv2.contourArea(hull) >= 1.03 * area:
        return None
    return np.asarray(shape[:, 0], dtype=float)


def _side(
    capture: Capture, start: Array, end: Array, factor: int
) -> tuple[tuple[Array, Array], Array] | None:
    """Return a line (point, direction) along a side in full resolution, and its residuals in px."""
    along = (end - start) / np.linalg.norm(end - start)
    reach = 3 * factor + 8
    flat = abs(along[0]) > abs(along[1])
    crossings = []
    for share in np.linspace(0.06, 0.94, 45):
        centre = start + share * (end - start)
        size = (9, 2 * reach) if flat else (2 * reach, 9)
        left, top, width, height = capture.within(centre, *size)
        if width < 5 or height < 5:
            continue
        light = capture.light(left, top, width, height) @ capture.weights
        profile = light.mean(axis=1 if flat else 0).astype(float)
        crossing = _half_way(profile)
        if crossing is None:
            continue
        crossings.append(
            [left + width / 2, top + crossing] if flat else [left + crossing, top + height / 2]
        )
    if len(crossings) < 15:
        return None
    points = np.array(crossings)
    for _ in range(3):
        point = points.mean(0)
        direction = np.linalg.svd(points - point)[2][0]
        normal = np.array([-direction[1], direction[0]])
        away = (points - point) @ normal
        near = np.abs(away) < 4 * (1.4826 * np.median(np.abs(away)) + 0.02)
        points, away = points[near], away[near]
        if len(points) < 12:
            return None
    return (point, direction), away


def _half_way(profile: Array) -> float | None:
    """Return where a profile passes half way between its ends, from its first outer border."""
    edge = max(2, len(profile) // 6)
    low, high = float(np.median(profile[:edge])), float(np.median(profile[-edge:]))
    if abs(high - low) < 0.15 * max(abs(high), abs(low), 1e-9):
        return None
    unit = (profile - low) / (high - low)
    above = np.nonzero(unit >= 0.5)[0]
    if not len(above) or above[0] == 0:
        return None
    right = int(above[0])
    share = (0.5 - unit[right - 1]) / (unit[right] - unit[right - 1])
    return float(right - 1 + share + 0.5)


def _meet(one: tuple[Array, Array], two: tuple[Array, Array]) -> Array:
    """Return where two lines cross."""
    lengths = np.linalg.solve(np.stack([one[1], -two[1]], 1), two[0] - one[0])
    return np.asarray(one[0] + lengths[0] * one[1])
