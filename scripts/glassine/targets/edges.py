"""Sharpness and channel registration at the edges of a placed target."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glassine.targets import sfr
from glassine.targets.capture import Capture
from glassine.targets.description import Edge
from glassine.targets.placement import Placement
from glassine.targets.sampling import upright

# An edge of 400 rows gives a response within 0.01 under the noise of any useful camera;
# more only takes time.
MAX_ALONG_PX = 400
MAX_ACROSS_PX = 160
CHANNELS = ("red", "green", "blue")


@dataclass(frozen=True)
class EdgeReading:
    """One edge: its responses by channel ("luminance" always; red, green, blue of colour).

    across: direction of measurement in the master, "horizontal" or "vertical".
    shift_px: position of red and blue against green, across the edge, in px of the master.
    """

    edge: Edge
    across: str
    region: tuple[int, int, int, int]
    responses: dict[str, sfr.EdgeResponse]
    shift_px: tuple[float, float, float]

    @property
    def misregistration(self) -> float:
        """Largest distance between any two channels, px."""
        return max(self.shift_px) - min(self.shift_px)


def read_edges(
    capture: Capture, placement: Placement, edges: tuple[Edge, ...]
) -> tuple[list[EdgeReading], list[str]]:
    """Return the readings, and for each edge that gave none a sentence that says why."""
    found, unread = [], []
    for edge in edges:
        try:
            found.append(_read(capture, placement, edge))
        except sfr.EdgeUnusable as problem:
            unread.append(f"{edge.name}: {problem}")
    return found, unread


def _read(capture: Capture, placement: Placement, edge: Edge) -> EdgeReading:
    centre, width, height, turned = upright(placement, edge.at, edge.size)
    horizontal = (edge.across == "horizontal") != turned
    along, across = MAX_ALONG_PX, MAX_ACROSS_PX
    width = min(width, across if horizontal else along)
    height = min(height, along if horizontal else across)
    region = capture.within(centre, width, height)
    if min(region[2:]) < 1:
        raise sfr.EdgeUnusable("it lies outside the picture")
    light = capture.light(*region).astype(float)
    if not horizontal:
        light = light.transpose(1, 0, 2)
    responses = {"luminance": sfr.edge_response(light @ capture.weights)}
    shifts = (0.0, 0.0, 0.0)
    if capture.bands == 3:
        for band, name in enumerate(CHANNELS):
            responses[name] = sfr.edge_response(light[..., band])
        lean = np.cos(np.radians(responses["green"].angle_deg))
        green = responses["green"].position
        red, blue = ((responses[name].position - green) * lean for name in ("red", "blue"))
        shifts = (float(red), 0.0, float(blue))
    return EdgeReading(edge, "horizontal" if horizontal else "vertical", region, responses, shifts)
