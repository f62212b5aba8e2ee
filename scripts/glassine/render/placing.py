"""Where a frame's output pixels come from: its corners, margin and turn."""

from __future__ import annotations

import dataclasses

import msgspec
import numpy as np

from glassine.base.errors import GlassineError
from glassine.base.model import Corners, Frame
from glassine.masters import acceptance, pixels
from glassine.render.given import PictureSet, RenderSection
from glassine.render.work import RecordedMaster


def placed(
    master: RecordedMaster, frame: Frame, settings: RenderSection, notes: list[str]
) -> pixels.Placement:
    """Return where the frame's output pixels come from, by its corners and the settings.

    Where the facts ask for the whole object and its outline is known, that is taken in place of
    the picture. The margin is made smaller where it would leave the master.
    """
    corners: Corners = frame.corners
    if master.facts.crop == "object":
        frames = [other for other in master.geometry.frames if not other.excluded]
        if master.geometry.object_corners is not None and len(frames) == 1:
            corners = master.geometry.object_corners
        else:
            notes.append(
                f"{master.geometry.path}: the outline of the object is not known for frame "
                f"{frame.index}; the picture was cropped."
            )
    _check_corners(master, frame, corners)
    limit = settings.keystone_min_deg
    return pixels.place(
        corners,
        margin_px=_margin_px(master, corners, settings.margin_mm, notes),
        rotate=frame.rotate,
        mirror=frame.mirror,
        keystone=limit is not None and frame.keystone_deg >= limit,
    )


def of_set(
    master: RecordedMaster,
    frame: Frame,
    settings: RenderSection,
    asked: PictureSet,
    notes: list[str],
) -> pixels.Placement:
    """Return where the pixels of one of `render.sets` come from: with its own crop and margin."""
    if asked.margin_mm is not None:
        settings = msgspec.structs.replace(settings, margin_mm=asked.margin_mm)
    if asked.crop is not None:
        facts = msgspec.structs.replace(master.facts, crop=asked.crop)
        master = dataclasses.replace(master, facts=facts)
    return placed(master, frame, settings, notes)


def _check_corners(master: RecordedMaster, frame: Frame, corners: Corners) -> None:
    """Raise where the corners enclose no picture: crossed, anticlockwise, or off the master."""
    points = np.array(corners, float)
    sides = np.roll(points, -1, axis=0) - points
    after = np.roll(sides, -1, axis=0)
    # Clockwise as seen: at each corner of a convex quadrilateral the way turns right.
    turns = sides[:, 0] * after[:, 1] - sides[:, 1] * after[:, 0]
    middle = points.mean(axis=0)
    size = (master.geometry.width, master.geometry.height)
    if not (turns > 1.0).all() or (middle < 0).any() or (middle > size).any():
        raise GlassineError.because(
            "render.corners",
            master.geometry.path,
            f"The corners of frame {frame.index} enclose no picture on the master: "
            f"{', '.join(f'({x:.0f}, {y:.0f})' for x, y in corners)}.",
            "four corners clockwise from the top left, about a part of the master.",
            "Draw the frame again on the review page.",
        )


def _margin_px(
    master: RecordedMaster, corners: Corners, margin_mm: float, notes: list[str]
) -> float:
    if margin_mm == 0:
        return 0.0
    if master.geometry.ppi is None:
        notes.append(f"{master.geometry.path}: resolution unknown, cropped without a margin.")
        return 0.0
    margin_px = margin_mm / 25.4 * master.geometry.ppi
    points = np.array(corners, float)
    room = min(
        points.min(),
        float(master.geometry.width - points[:, 0].max()),
        float(master.geometry.height - points[:, 1].max()),
    )
    # A corner moves by the margin's diagonal at most, turned towards the master's edge.
    return float(max(0.0, min(margin_px, room / np.sqrt(2))))


def check_side(master: RecordedMaster, frame: Frame, where: pixels.Placement) -> None:
    if max(where.width, where.height) > acceptance.MAX_SIDE:
        raise GlassineError.because(
            "render.size",
            master.geometry.path,
            f"Frame {frame.index} is {where.width} x {where.height} pixels.",
            f"at most {acceptance.MAX_SIDE} pixels on a side, which JPEG can hold.",
            "Check the frame's corners in the report.",
        )
