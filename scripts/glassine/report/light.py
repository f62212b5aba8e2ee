"""How light falls off over a batch's masters, in words for the page."""

from __future__ import annotations

from collections.abc import Iterable

from glassine.base import batch_light
from glassine.base.item_states import ItemStatus
from glassine.report import views


def sentences(statuses: Iterable[ItemStatus]) -> list[str]:
    """Return a sentence for masters of each size, most first; none for a batch without measures.

    Masters of other sizes are of another rig, or of a rig set up otherwise.
    """
    by_size: dict[tuple[int, int], list[list[batch_light.Piece]]] = {}
    measured = False
    for status in statuses:
        quality, _ = views.take(status.records.get("quality", {}), views.Quality)
        for frame in quality.frames:
            measured = True
            light = frame.base_light
            if light is not None:
                by_size.setdefault((light.width, light.height), []).append(light.pieces)
    if not measured:
        return []
    if not by_size:
        return ["Fall-off of light over the batch: not measured: no master shows film base."]
    sizes = sorted(by_size, key=lambda size: (-len(by_size[size]), size))
    return [
        f"Fall-off of light over masters of {size[0]} x {size[1]} px: "
        f"{batch_light.words(by_size[size])}."
        for size in sizes
    ]
