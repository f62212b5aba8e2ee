"""The page tells how light falls off over the masters of a batch, or that it was not measured."""

from __future__ import annotations

from typing import Any

import numpy as np

from glassine.base.item_states import ItemStatus
from glassine.report import light


def _status(number: int, fall: float | None, size: tuple[int, int] = (6000, 4000)) -> ItemStatus:
    frame: dict[str, Any] = {"master": f"{number}.tif", "index": 1, "measures": []}
    if fall is not None:
        along = np.linspace(0.05, 0.95, 10)
        places = [(x, y) for x in along for y in (0.03, 0.97)]
        places += [(x, y) for x in (0.03, 0.97) for y in along]
        own = 0.001 * np.sin(number + np.arange(len(places)))
        pieces = [
            [float(x), float(y), float(-0.3 - fall * ((x - 0.5) ** 2 + (y - 0.5) ** 2) + each)]
            for (x, y), each in zip(places, own, strict=True)
        ]
        frame["base_light"] = {"width": size[0], "height": size[1], "pieces": pieces}
    status = ItemStatus(f"PEH-{number:04d}", "done")
    status.records["quality"] = {"item": status.item, "frames": [frame]}
    return status


def test_corners_are_told_in_stops_of_masters_of_one_size() -> None:
    statuses = [_status(number, 0.3) for number in range(8)]
    statuses += [_status(9, 0.3, (8000, 6000))]
    said = light.sentences(statuses)
    # 0.3 (0.48^2 + 0.48^2) = 0.138 as log10: 0.46 stop.
    assert "top left 0.46 stop less" in said[0]
    assert "6000 x 4000 px" in said[0]
    assert "8000 x 6000 px: not measured: 1 of them" in said[1]


def test_a_batch_without_base_is_not_measured_and_one_without_measures_says_nothing() -> None:
    assert "not measured" in light.sentences([_status(1, None)])[0]
    assert light.sentences([ItemStatus("PEH-0001", "held")]) == []
