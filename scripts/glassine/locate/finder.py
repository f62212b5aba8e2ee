"""One look at a master by one scale, or by none: its frames in the reduced copy, then exactly."""

from __future__ import annotations

from dataclasses import dataclass

from glassine.base import film
from glassine.locate import glow, masks, table
from glassine.locate.agree import agree
from glassine.locate.candidate import Candidate
from glassine.locate.exact import Exact
from glassine.locate.kinds import kind_of
from glassine.locate.known import Known
from glassine.locate.scale import Scale
from glassine.locate.scene import Scene
from glassine.locate.strangers import without_strangers
from glassine.locate.view import Piece

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# A picture is sound where its four sides together show along more than this (share, 4 at most).
SOUND = 3
# A wider, fainter piece holds the picture where its sides together show so much better (share).
GAIN = 0.3


@dataclass(frozen=True)
class RoughLook:
    """The frames as the reduced copy shows them, and what is known of the master by then.

    A look further on moves the frames themselves: what comes of it takes the place of this one.
    """

    frames: list[Candidate]
    known: Known


@dataclass(frozen=True)
class ExactLook(RoughLook):
    """The frames with their edges at full resolution, and the kind of material."""

    kind: str


def roughly(scene: Scene, scale: Scale | None) -> RoughLook:
    """Return the frames as the reduced copy shows them."""
    known = Known.by(scale, scene.reduction)
    frames: list[Candidate] = []
    over = [masks.covers(scene.view, scene.layout, piece) for piece in scene.layout.pieces]
    for piece, is_mask in zip(scene.layout.pieces, over, strict=True):
        if is_mask and not all(over):
            continue
        made, known = table.frames_on(scene, piece, known)
        frames.extend(made)
    return RoughLook(without_strangers(scene, known.ppi, frames), known)


def exactly(scene: Scene, rough: RoughLook) -> ExactLook:
    """Return the frames with their edges at full resolution, and the kind of material."""
    frames, known = rough.frames, rough.known
    exact = Exact(scene.sampler, scene.reduction, known.ppi, scene.layout.tone)
    for candidate in frames:
        exact.refine(candidate)
    if len(frames) < 2 and not _sound(frames) and scene.layout.faint is not None:
        frames, known = _better_seen(scene, frames, known, scene.layout.faint, exact)
    plain = [c for c in frames if not c.blank and not c.oval]
    for one in plain:
        if not one.strip:
            exact.square([one])
    mm = film.px_per_mm(known.ppi) / scene.reduction if known.ppi else None
    for number, patch in enumerate(known.patches, start=1):
        exact.square([c for c in plain if c.strip == number])
        agree([c for c in frames if c.strip == number], patch, scene.reduction, mm)
    glow.without_glow(scene.sampler, frames)
    return ExactLook(frames, known, kind_of(scene, known, frames))


def _sound(frames: list[Candidate]) -> bool:
    """Whether a frame was found so plainly that no fainter one is looked for."""
    if not frames:
        return False
    one = frames[0]
    return one.kind != "single" or one.oval or (one.plainness() > SOUND and not one.small)


def _better_seen(
    scene: Scene, frames: list[Candidate], known: Known, faint: Piece, exact: Exact
) -> tuple[list[Candidate], Known]:
    """Return the frame found, or the one in a wider, fainter piece where that shows better."""
    old = frames[0] if frames else None
    other, after = table.picture_on(scene, faint, known.without_pieces())
    exact.refine(other)
    if old is None or other.oval or (old.small and not other.small):
        return [other], after
    if other.plainness() - old.plainness() > GAIN:
        return [other], after
    return frames, known
