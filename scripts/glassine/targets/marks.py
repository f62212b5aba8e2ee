"""Find a target by its round marks: seen as spots in the small copy, measured as discs."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares
from scipy.spatial import cKDTree

from glassine.targets.capture import Capture
from glassine.targets.colour import Array
from glassine.targets.description import Description
from glassine.targets.placement import NotFound, Placement, apply, best_orientation

# Thresholds at which round shapes are sought, as shares of the picture's tonal range.
THRESHOLDS = np.linspace(0.06, 0.94, 15)
MIN_CIRCULARITY = 0.80
MAX_CANDIDATES = 600
MAX_HYPOTHESES = 20_000
# Share of the marks that must be seen, and at least this many.
MIN_SHARE = 0.6
MIN_MARKS = 4
# Radius at which the centroid of a disc needs no more pixels, px.
DISC_RADIUS_PX = 24
# Marks from which the radial distortion can be told from the perspective.
MARKS_FOR_DISTORTION = 10


def by_marks(capture: Capture, described: Description, grey: npt.NDArray[np.float32]) -> Placement:
    """Return where the target lies by its marks. grey: see `find`. Raises NotFound."""
    spots = _candidates(grey, described.mark_tone)
    _, factor = capture.small
    seen = [((x + 0.5) * factor, (y + 0.5) * factor, r * factor) for x, y, r in spots]
    wanted = max(MIN_MARKS, int(np.ceil(MIN_SHARE * len(described.marks))))
    if len(spots) < wanted:
        raise NotFound(
            f"only {len(spots)} round {described.mark_tone} spots were seen, "
            f"{wanted} of {len(described.marks)} marks are needed",
            seen,
        )
    rough = best_orientation(capture, described, _rough_maps(spots, described, wanted), grey)
    if rough is None:
        raise NotFound(
            f"{len(spots)} round {described.mark_tone} spots were seen, but they do not lie as "
            "the marks of the description do",
            seen,
        )
    homography, agreement = rough
    placement = _refined(capture, described, homography, agreement)
    if placement.seen < wanted:
        raise NotFound(
            f"only {placement.seen} of {len(described.marks)} marks could be measured", seen
        )
    return placement


def _candidates(grey: npt.NDArray[np.float32], tone: str) -> Array:
    """Return round spots (x, y, radius) in px of the small copy, `tone` dark or light."""
    image = grey if tone == "light" else 1 - grey
    spots: list[tuple[float, float, float]] = []
    largest = grey.shape[0] * grey.shape[1] / 16
    for threshold in THRESHOLDS:
        mask = (image > threshold).astype(np.uint8)
        contours, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        for contour in contours:
            spot = _spot(contour, largest)
            if spot is not None and _filled(mask, spot):
                spots.append(spot)
    return _merged(np.array(spots).reshape(-1, 3))


def _spot(contour: npt.NDArray[np.int32], largest: float) -> tuple[float, float, float] | None:
    if len(contour) < 8 or len(contour) > 8 * np.sqrt(largest):
        return None
    area = cv2.contourArea(contour)
    if not 6 <= area <= largest:
        return None
    (x, y), (width, height), _ = cv2.minAreaRect(contour)
    if min(width, height) < 0.75 * max(width, height):
        return None
    # A contour runs through pixel centres: half a pixel is missing all around.
    radius = np.sqrt(area / np.pi) + 0.5
    length = cv2.arcLength(contour, True)
    if 4 * np.pi * area / length**2 < MIN_CIRCULARITY:
        return None
    # A disc fills pi/4 of its box; a square all of it.
    if area / ((width + 1e-6) * (height + 1e-6)) > 0.9:
        return None
    return float(x), float(y), float(radius)


def _filled(mask: npt.NDArray[np.uint8], spot: tuple[float, float, float]) -> bool:
    row, column = round(spot[1]), round(spot[0])
    return bool(mask[min(row, mask.shape[0] - 1), min(column, mask.shape[1] - 1)])


def _merged(seen: Array) -> Array:
    """Return one spot for those that several thresholds saw, the steadiest first."""
    kept: list[tuple[float, float, float, int]] = []
    left = seen.copy()
    while len(left) and len(kept) < MAX_CANDIDATES:
        near = np.hypot(*(left[:, :2] - left[0, :2]).T) < 0.5 * left[0, 2]
        alike = near & (np.abs(left[:, 2] - left[0, 2]) < 0.35 * left[0, 2])
        group = left[alike]
        kept.append((*np.median(group, axis=0).tolist(), len(group)))
        left = left[~alike]
    spots = np.array(kept).reshape(-1, 4)
    return spots[np.argsort(-spots[:, 3], kind="stable"), :3]


def _similarities(spots: Array, described: Description) -> Array:
    """Return maps (n, 2, 3), mm to small px, that carry two far marks onto two fitting spots."""
    marks = np.array(described.marks)
    first, second = np.triu_indices(len(marks), 1)
    distance = np.linalg.norm(marks[first] - marks[second], axis=1)
    points = spots[:, 0] + 1j * spots[:, 1]
    start, end = np.nonzero(~np.eye(len(spots), dtype=bool))
    span = np.abs(points[end] - points[start])
    maps = []
    # Several pairs, since a mark may be hidden by dust or a finger.
    for pair in np.argsort(-distance, kind="stable")[:6]:
        expected = span / distance[pair] * described.mark_diameter_mm / 2
        fits = np.all(
            [np.abs(spots[which, 2] - expected) < 0.35 * expected + 1.0 for which in (start, end)],
            axis=0,
        )
        chosen = np.nonzero(fits)[0][:MAX_HYPOTHESES]
        one, two = marks[first[pair]], marks[second[pair]]
        for sign in (1.0, -1.0):
            a, b = complex(one[0], sign * one[1]), complex(two[0], sign * two[1])
            turn = (points[end[chosen]] - points[start[chosen]]) / (b - a)
            move = points[start[chosen]] - turn * a
            rows = [
                [turn.real, -sign * turn.imag, move.real],
                [turn.imag, sign * turn.real, move.imag],
            ]
            maps.append(np.array(rows).transpose(2, 0, 1))
    return np.concatenate(maps)


def _rough_maps(spots: Array, described: Description, wanted: int) -> list[tuple[int, Array]]:
    """Return the differing maps (mm to small px) that bring the most marks onto spots."""
    marks = np.array(described.marks)
    tree = cKDTree(spots[:, :2])
    maps = _similarities(spots, described)
    if not len(maps):
        return []
    placed = np.einsum("nij,mj->nmi", maps[:, :, :2], marks) + maps[:, None, :, 2]
    # Tilt and lens move a mark by a few per cent of the target at most.
    reach = 0.02 * np.ptp(placed, axis=1).max(axis=1) + 1.0
    distance, _ = tree.query(placed)
    near = distance < reach[:, None]
    number = near.sum(axis=1)
    apart = np.where(near, distance, 0).sum(axis=1) / np.maximum(number, 1)
    order = np.lexsort((apart, -number))
    best = [index for index in order[:60] if number[index] >= wanted]
    return _fitted([(int(number[index]), maps[index]) for index in best], marks, spots, tree)


def _fitted(
    kept: list[tuple[int, Array]], marks: Array, spots: Array, tree: cKDTree
) -> list[tuple[int, Array]]:
    chosen: list[tuple[int, Array]] = []
    for number, similarity in kept:
        homography = _settled(np.vstack([similarity, [0, 0, 1]]), marks, spots, tree)
        if homography is not None and not any(_same(homography, one, marks) for _, one in chosen):
            chosen.append((number, homography))
    return chosen


def _settled(start: Array, marks: Array, spots: Array, tree: cKDTree) -> Array | None:
    """Return the perspective through the spots near the marks as `start` places them."""
    homography = start
    for share in (0.02, 0.01):
        placed = apply(homography, 0.0, (0, 0), 1.0, marks)
        reach = share * float(np.ptp(placed, axis=0).max()) + 1.0
        distance, index = tree.query(placed, distance_upper_bound=reach)
        near = np.isfinite(distance)
        if near.sum() < MIN_MARKS:
            return None
        fitted: Any = cv2.findHomography(marks[near], spots[index[near], :2], 0)[0]
        if fitted is None:
            return None
        homography = np.asarray(fitted, dtype=float)
    return homography


def _same(one: Array, two: Array, marks: Array) -> bool:
    apart = apply(one, 0, (0, 0), 1, marks) - apply(two, 0, (0, 0), 1, marks)
    return bool(np.abs(apart).max() < 6)


def _refined(
    capture: Capture, described: Description, homography: Array, agreement: float | None
) -> Placement:
    """Return the placement fitted to the discs as measured in full resolution.

    Its `seen` is below MIN_MARKS, and its map the rough one, where too few could be measured.
    """
    marks = np.array(described.marks)
    centre = (capture.width / 2, capture.height / 2)
    none = np.empty((0, 2))
    placement = Placement(
        homography=homography,
        k1=0.0,
        centre=centre,
        half_diagonal=float(np.hypot(*centre)),
        residual_px=(0.0, 0.0),
        seen=0,
        wanted=len(marks),
        tone_agreement=agreement,
        marks_px=none,
        marks_mm=none,
        shift_px=np.empty((0, capture.bands, 2)),
    )
    for _ in range(2):
        moved = placement
        measured = [_measured(capture, placement, at, described) for at in marks]
        good = np.array([spot is not None for spot in measured])
        if good.sum() < MIN_MARKS:
            return replace(placement, seen=int(good.sum()))
        points = np.array([spot[0] for spot in measured if spot is not None])
        shifts = np.array([spot[1] for spot in measured if spot is not None])
        placement = _fitted_to(placement, marks[good], points, shifts)
        # The window about a disc was right if it was set within a tenth of the radius.
        radius = described.mark_diameter_mm / 2 * np.sqrt(abs(np.linalg.det(homography[:2, :2])))
        if np.abs(moved.pixels(marks[good]) - points).max() < 0.1 * radius:
            break
    return placement


def _fitted_to(rough: Placement, mm: Array, px: Array, shifts: Array) -> Placement:
    homography, k1 = _fit_map(mm, px, rough.homography, rough.centre, rough.half_diagonal)
    fitted = replace(
        rough, homography=homography, k1=k1, seen=len(mm), marks_px=px, marks_mm=mm, shift_px=shifts
    )
    away = np.linalg.norm(fitted.pixels(mm) - px, axis=1)
    return replace(fitted, residual_px=(float(np.sqrt(np.mean(away**2))), float(away.max())))


def _measured(
    capture: Capture, rough: Placement, at: Array, described: Description
) -> tuple[Array, Array] | None:
    """Return the disc's centre in px, and of each channel the distance from the second one's."""
    radius = described.mark_diameter_mm / 2 * float(np.sqrt(abs(np.linalg.det(rough.scale(at)))))
    centre = rough.pixels(at)
    reach = 2 * (1.7 * radius + 2)
    left, top, width, height = capture.within(centre, reach, reach)
    if width < reach - 2 or height < reach - 2 or radius < 1.5:
        return None
    light = capture.light(left, top, width, height).astype(float)
    # A large disc is measured as well from block means, in a fraction of the time.
    block = max(1, int(radius // DISC_RADIUS_PX))
    rows, columns = height // block * block, width // block * block
    light = light[:rows, :columns].reshape(rows // block, block, columns // block, block, -1)
    light = light.mean(axis=(1, 3))
    middle, radius = (centre - np.array([left, top])) / block, radius / block
    grey = _disc_centre(light @ capture.weights, middle, radius)
    if grey is None:
        return None
    centres = [_disc_centre(light[..., band], grey, radius) for band in range(light.shape[2])]
    if any(spot is None for spot in centres):
        return None
    channels = np.array(centres)
    anchor = channels[1] if len(channels) == 3 else channels[0]
    return grey * block + np.array([left, top]), (channels - anchor) * block


def _disc_centre(light: Array, middle: Array, radius: float) -> Array | None:
    """Return the centroid of a disc against its surround, px from the region's outer corner."""
    rows, columns = np.indices(light.shape, dtype=float) + 0.5
    at = np.asarray(middle, dtype=float)
    for _ in range(4):
        distance = np.hypot(columns - at[0], rows - at[1])
        inner, ring = (
            distance < 0.6 * radius,
            (distance > 1.3 * radius) & (distance < 1.65 * radius),
        )
        if inner.sum() < 4 or ring.sum() < 8:
            return None
        base, core = np.median(light[ring]), np.median(light[inner])
        if abs(core - base) < 0.1 * max(core, base):
            return None
        # The window falls softly to 0, so that a pixel at its border does not tip the balance.
        soft = np.clip((1.5 * radius + 1.0 - distance) / 1.0, 0, 1)
        weight = (light - base) / (core - base) * soft
        total = weight.sum()
        moved = np.array([(weight * columns).sum() / total, (weight * rows).sum() / total])
        if not np.all(np.isfinite(moved)) or np.abs(moved - middle).max() > 0.8 * radius + 1:
            return None
        step, at = float(np.abs(moved - at).max()), moved
        if step < 1e-4:
            break
    return at


def _fit_map(
    mm: Array, px: Array, homography: Array, centre: tuple[float, float], half_diagonal: float
) -> tuple[Array, float]:
    """Return homography and k1 by least squares, stray marks weighed down (soft L1)."""
    with_k1 = len(mm) >= MARKS_FOR_DISTORTION
    # Positions are brought to order 1 so that the eight numbers are of like size.
    middle, size = mm.mean(0), float(np.ptp(mm, axis=0).max())
    normal = np.array(
        [[1 / size, 0, -middle[0] / size], [0, 1 / size, -middle[1] / size], [0, 0, 1]]
    )
    start = homography @ np.linalg.inv(normal)
    start = start / start[2, 2]
    units = (mm - middle) / size

    def away(values: Array) -> Array:
        k1 = values[8] if with_k1 else 0.0
        found = apply(np.append(values[:8], 1).reshape(3, 3), k1, centre, half_diagonal, units)
        return np.asarray((found - px).ravel())

    guess = np.append(start.ravel()[:8], [0.0] if with_k1 else [])
    scale = np.maximum(np.abs(guess), 1e-3)
    solved = least_squares(
        away, guess, loss="soft_l1", f_scale=0.5, x_scale=scale, xtol=1e-14, ftol=1e-14, gtol=1e-14
    )
    values = solved.x
    fitted = np.append(values[:8], 1).reshape(3, 3) @ normal
    return fitted / fitted[2, 2], float(values[8]) if with_k1 else 0.0
