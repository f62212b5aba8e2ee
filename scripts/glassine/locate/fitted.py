"""Bits per unit of each feature, made by tests/benchmarks/locate/fit_weights.py.

Fitted on 227 frames of drawn scenes (scenes, layouts). Beside each: on how many
frames it was seen, and how many of those were right.
"""

FITTED: dict[str, tuple[float, int, int]] = {
    "side as on the strip": (1.91, 6, 5),
    "side like its border": (5.10, 4, 0),
    "side not found": (7.21, 16, 0),
    "side not straight": (6.40, 10, 0),
    "sides not parallel": (6.10, 4, 0),
    "corners not square": (5.52, 6, 0),
    "long for its width": (7.31, 15, 0),
    "no size on 35 mm film": (5.50, 2, 0),
    "cut off": (6.70, 1, 0),
    "runs out of the master": (7.31, 12, 0),
    "bar inside": (7.56, 10, 0),
    "seam inside": (5.59, 1, 1),
    "holes inside": (7.55, 8, 0),
    "table inside": (5.27, 5, 1),
    "even all round": (6.35, 1, 0),
    "scale in doubt": (5.37, 7, 4),
}
