"""Drawn strips as the reader of codes is given them: where the film lies, by its frames."""

from __future__ import annotations

import numpy as np

from glassine.locate import edge_numbers
from glassine.locate.edge_numbers import Told
from glassine.locate.encoding import linear_table
from glassine.locate.rebate import Piece
from glassine.locate.scene import Master
from glassine.locate.view import look
from makers.edge_strips import Capture

TABLE = linear_table("linear")


def piece_of(capture: Capture, number: int = 0, off_mm: float = 0.0, seed: int = 0) -> Piece:
    """Return where a strip lies, as its frames say. off_mm: deviation of their centres."""
    frames = capture.frames[number]
    rng = np.random.default_rng([seed, 5])
    centres = np.array([frame.mean(0) for frame in frames])
    centres += rng.normal(0, 1, centres.shape) * off_mm * capture.mm
    along = centres[-1] - centres[0] if len(frames) > 1 else frames[0][1] - frames[0][0]
    along = along / np.hypot(*along)
    along = along if along @ (1.0, 1e-6) > 0 else -along
    middle = centres.mean(0)
    order = np.argsort((centres - middle) @ along)
    places = tuple(float(u) for u in ((centres - middle) @ along / capture.mm)[order])
    reach = places[0] - 30, places[-1] + 30
    return Piece(middle, along, capture.mm, *reach, tuple(int(k) + 1 for k in order), places)


def master_of(capture: Capture) -> Master:
    sizes = capture.width, capture.height
    return Master(capture.reduced, capture.reduction, capture.region, *sizes, TABLE)


def told(master: Master, piece: Piece, reversal: bool) -> Told | None:
    """Return what is read of a piece; the view, which locate has anyway, is made beside it."""
    view = look(master.reduced, TABLE, master.reduction)
    return edge_numbers.told(master, view, piece, reversal)
