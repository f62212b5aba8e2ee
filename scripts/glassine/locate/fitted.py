"""Bits per unit of each feature, made by tests/benchmarks/locate/fit_weights.py.

Fitted on 112 frames of drawn scenes (scenes, layouts). Beside each: on how many
frames it was seen, and how many of those were right.
"""

FITTED: dict[str, tuple[float, int, int]] = {
    "side as on the strip": (1.96, 5, 4),
    "side like its border": (5.10, 3, 0),
    "side not found": (7.21, 3, 0),
    "side not straight": (5.80, 4, 0),
    "sides not parallel": (6.10, 1, 0),
    "corners not square": (5.50, 2, 0),
    "long for its width": (7.30, 7, 0),
    "no size on 35 mm film": (5.50, 2, 0),
    "cut off": (6.70, 1, 0),
    "runs out of the master": (7.31, 3, 0),
    "bar inside": (7.00, 5, 0),
    "holes inside": (7.00, 2, 0),
    "table inside": (6.10, 1, 0),
    "scale in doubt": (5.60, 4, 3),
}
