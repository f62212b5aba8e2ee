"""What a package holds of a raw capture: the camera's file, the picture developed from it, or both.

What is not held is in the record all the same, with its digests and the reason.
"""

from __future__ import annotations

from typing import Literal

Keep = Literal["raw_and_master", "master", "raw"]
BOTH: Keep = "raw_and_master"

# What PREMIS says of a file that is recorded and not in the package (1.3.2
# preservationLevelValue; words of this project).
DIGESTS_ALONE, MADE_AGAIN = "digests alone", "made again on demand"
_WHY = {
    DIGESTS_ALONE: "The camera's raw file was verified and is not in this package, as the "
    "settings have it (raw.keep: master). What proves it is its digests.",
    MADE_AGAIN: "The picture is not in this package, as the settings have it (raw.keep: raw): it "
    "is made again from the raw file by what metadata/developed.json says, and proved by its "
    "digests.",
}


def of_raw(keep: Keep) -> str:
    """Return what is said of a raw file that is not in the package; "" where it is."""
    return DIGESTS_ALONE if keep == "master" else ""


def of_picture(keep: Keep) -> str:
    """Return what is said of a developed picture that is not in the package; "" where it is."""
    return MADE_AGAIN if keep == "raw" else ""


def why(level: str) -> str:
    """Return the reason for a level, in sentences."""
    return _WHY[level]
