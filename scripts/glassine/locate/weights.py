"""What each kind of evidence costs a frame's confidence: one table of named weights, in bits.

Confidence is the chance that a frame is right (its corners within 1 % of its diagonal, and nothing
of a picture lost): logistic in the sum of what speaks against it. A bit halves the odds. What costs
more than a bit says so in words.

Some evidence answers other evidence: an even rim inside orange film is exposed film and no board.
Its bits are negative. They take back what the evidence that it answers has cost, and no more, so
that nothing makes up for a doubt of another kind.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from glassine.locate.fitted import FITTED

# Log odds (base 2) of a frame against which nothing speaks: 0.99.
START_BITS = 6.63
# No evidence makes a frame surer than that, nor less sure than this.
MOST, LEAST = 0.99, 0.01

_PER_SIDE = "per side"
_PER_FRAME = "per frame"
_PER_MASTER = "per master, for each frame"
_BESIDE = "for each frame beside it, or the nearest"
_SHARE = "times a share, 0 to 1"


@dataclass(frozen=True)
class Weight:
    """Cost in bits of one unit of a feature; origin: how the number was come by; answers: the
    features whose cost it takes back, where it has fewer than no bits.
    """

    bits: float
    unit: str
    origin: str = "set by hand"
    answers: tuple[str, ...] = ()


@dataclass(frozen=True)
class Evidence:
    """One thing measured that speaks against a frame, or that answers what does. amount: in the
    feature's unit; words: as an operator reads it, None where it costs too little to be said.
    """

    feature: str
    words: str | None = None
    amount: float = 1.0

    @property
    def bits(self) -> float:
        return WEIGHTS[self.feature].bits * self.amount


BY_HAND = {
    # The four sides.
    "side unseen, as on the strip": Weight(5.5, _PER_SIDE),
    "side as on the strip": Weight(2.2, _PER_SIDE),
    "side like its border": Weight(5.1, _PER_SIDE),
    "side not found": Weight(7.2, _PER_SIDE),
    "side not straight": Weight(5.8, _PER_SIDE),
    "side seen in part": Weight(5.1, _PER_SIDE),
    "side of the film": Weight(6.7, _PER_SIDE),
    "band like the border inside": Weight(6.7, _PER_SIDE),
    "line inside a side": Weight(6.1, _PER_SIDE),
    # The shape.
    "oval lies anyhow": Weight(6.1, _PER_FRAME),
    "oval seen in part": Weight(6.1, _PER_FRAME),
    "sides not parallel": Weight(6.1, _PER_FRAME),
    "corners not square": Weight(5.5, _PER_FRAME),
    "corners off its edges": Weight(6.7, "times their distance / 1 % of the diagonal"),
    "long for its width": Weight(6.1, _PER_FRAME),
    # The size.
    "little of the master": Weight(6.7, _PER_FRAME),
    "size of several on 120 film": Weight(6.1, _PER_FRAME),
    "no size on 35 mm film": Weight(5.5, _PER_FRAME),
    "smaller than pictures are": Weight(7.9, _PER_FRAME),
    "another number than stated": Weight(6.1, _PER_MASTER),
    "not the stated size": Weight(6.1, _PER_FRAME),
    # What surrounds it.
    "mask without a picture": Weight(7.2, _PER_FRAME),
    "one tone all over": Weight(7.2, _PER_FRAME),
    "cut off": Weight(6.7, _PER_FRAME),
    "runs out of the master": Weight(6.7, _PER_FRAME),
    "overlaps": Weight(5.1, _PER_FRAME),
    # What it is.
    "polarity unclear": Weight(4.9, _PER_FRAME),
    "process unclear": Weight(4.9, _PER_FRAME),
    "process other than stated": Weight(4.9, _PER_FRAME),
    "polarity other than stated": Weight(4.9, _PER_FRAME),
    # Evidence that no frame explains.
    "bar inside": Weight(7.0, _PER_FRAME),
    "seam inside": Weight(6.1, _PER_FRAME),
    "parted by a band": Weight(6.1, _PER_FRAME),
    "not as its neighbours": Weight(6.1, _PER_FRAME),
    "repeats itself": Weight(7.0, _PER_FRAME),
    "holes inside": Weight(7.0, _PER_FRAME),
    "table inside": Weight(6.1, "times its share of the frame / 2 %"),
    "even all round": Weight(5.5, _PER_FRAME),
    "even band along a side": Weight(6.1, _PER_SIDE),
    "picture outside": Weight(7.0, _BESIDE),
    "piece unexplained": Weight(6.1, _BESIDE),
    "step without a frame": Weight(6.1, _BESIDE),
    # What a trained network sees otherwise (`witness`).
    "map: picture outside": Weight(6.1, _BESIDE),
    "map: no picture inside": Weight(9.0, "times its share of the frame / 40 %"),
    "map: edge inside": Weight(6.1, _PER_FRAME),
    "map: side without an edge": Weight(2.5, _PER_FRAME),
    # What is said of the master.
    "roll film by its shape": Weight(6.1, _PER_MASTER),
    "scale in doubt": Weight(6.1, _PER_MASTER),
    "header contradicted": Weight(5.6, _PER_MASTER),
    "kind by an unsure scale": Weight(5.1, _PER_MASTER),
    "kind in doubt": Weight(6.1, _PER_MASTER),
    # What answers other evidence.
    "gate and film of one format": Weight(
        -9.0,
        _PER_FRAME,
        answers=("parted by a band", "roll film by its shape", "header contradicted"),
    ),
    "of one view by its length": Weight(-6.1, _PER_FRAME, answers=("size of several on 120 film",)),
    "out of line with the next": Weight(-6.1, _PER_FRAME, answers=("parted by a band",)),
    "four plain sides, sheared": Weight(-5.5, _PER_FRAME, answers=("corners not square",)),
    "orange film around it": Weight(-5.5, _PER_FRAME, answers=("even all round",)),
    "four plain sides in black": Weight(-9.0, _PER_FRAME, answers=("map: no picture inside",)),
    "of the size of its strip": Weight(-6.1, _PER_FRAME, answers=("map: edge inside",)),
}


def _weighed() -> dict[str, Weight]:
    """Return the weights: as fitted where scenes taught something, else as set by hand."""
    out = {}
    for name, by_hand in BY_HAND.items():
        bits, seen, right = FITTED.get(name, (by_hand.bits, 0, 0))
        origin = f"fitted: seen on {seen} frames, {right} right" if seen else by_hand.origin
        out[name] = Weight(bits, by_hand.unit, origin, by_hand.answers)
    return out


WEIGHTS = _weighed()


def chance(bits_against: float) -> float:
    """Return the chance that a frame is right by the bits that speak against it."""
    return float(min(max(1 / (1 + 2.0 ** (bits_against - START_BITS)), LEAST), MOST))


def bits_against(amounts: Mapping[str, float], bits: Mapping[str, float]) -> float:
    """Return all that speaks against a frame, less what is answered, in bits.

    amounts: of each feature, in its unit; bits: of one unit of each.
    """
    cost = {name: bits[name] * amount for name, amount in amounts.items() if bits[name] > 0}
    for name in sorted(amounts):
        left = -bits[name] * amounts[name]
        for answered in WEIGHTS[name].answers if left > 0 else ():
            taken = min(left, cost.get(answered, 0.0))
            left -= taken
            if taken:
                cost[answered] -= taken
    return sum(cost.values())


def confidence(against: Iterable[Evidence]) -> float:
    """Return the chance that a frame is right, by all that speaks against it."""
    amounts: dict[str, float] = {}
    for each in against:
        amounts[each.feature] = amounts.get(each.feature, 0.0) + each.amount
    return chance(bits_against(amounts, {name: each.bits for name, each in WEIGHTS.items()}))
