"""How a picture is turned: what the TIFF says of its orientation, then what is stated of it."""

from __future__ import annotations

# TIFF 6.0, page 36: Orientation as (clockwise quarter turns in degrees, then left and right
# exchanged) that bring the stored pixels into the view that the file means.
ORIENTATIONS: dict[int, tuple[int, bool]] = {
    1: (0, False),
    2: (0, True),
    3: (180, False),
    4: (180, True),
    5: (90, True),
    6: (90, False),
    7: (270, True),
    8: (270, False),
}


def combined(first: tuple[int, bool], then: tuple[int, bool]) -> tuple[int, bool]:
    """Return both turns as one.

    Each is (clockwise degrees, then mirrored). A turn behind a mirror is the opposite turn before
    it: M R(a) = R(-a) M.
    """
    (turned, mirrored), (more, exchanged) = first, then
    return (turned + (-more if mirrored else more)) % 360, mirrored != exchanged


def words(turned: int, mirrored: bool) -> str:
    """Return the turn in words, e.g. "turned 90° clockwise and mirrored"."""
    said = [f"turned {turned}° clockwise"] if turned else []
    said += ["mirrored"] if mirrored else []
    return " and ".join(said) or "left as stored"
