#!/usr/bin/env python3
"""Tell how often frames were found right, by what a person decided about them.

It proposes a value of `locate.review_below` where enough was decided, and changes nothing.
"""

from __future__ import annotations

import sys
from pathlib import Path

import setup_environment

try:
    from glassine.review import score_frames
except ImportError:
    # Started with another Python than the checkout's own: once more, with that.
    if Path(sys.prefix) == setup_environment.ENVIRONMENT:
        raise
    sys.exit(setup_environment.run(setup_environment.ready("run"), ["python", *sys.argv]))


if __name__ == "__main__":
    sys.exit(score_frames.main())
