"""What speaks against calibration captures that hold by their headers: in words, for a person.

Headers that say nothing agree with each other; so what neither says is told. What they say is
compared with what captures show: nothing is brighter than the bare table, and a sensor that is full
gives one value.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt

from glassine.base import wording
from glassine.base.errors import Finding
from glassine.base.records.parts import Capture
from glassine.masters.raws import Sensor

# How much brighter than the bare table film may come out, and how much two light captures of a
# session may differ: shutters and lamps are steady to a few hundredths (common practice, no
# source).
BRIGHTER, DRIFT = 1.03, 0.03
# Share of a picture's blocks that must be brighter.
LEAST_BRIGHTER = 0.0005
# Exposures of a dark capture over the film's between which it shows its hot pixels, and days.
_DARK_LEAST, _DARK_MOST, _DARK_DAYS = 0.5, 8.0, 92
# One value is where a sensor is full if it has this share of samples, this many times as many as
# any of the values below it has, and no more than this share lies above it (hot pixels). Values
# that are compared: some cameras leave several out.
_FULL_SHARE, _FULL_TIMES, _FULL_ABOVE, _BELOW = 0.01, 4, 0.005, 16

# What two headers must say for a light capture to be known to hold, in words.
_FACTS = {
    "model": "the camera",
    "serial": "the camera body",
    "lens": "the lens",
    "f_number": "the aperture",
    "taken": "the time",
}


@dataclass(frozen=True)
class Full:
    """share: of a colour's samples that stand at `value`, DN, where the sensor is full."""

    share: float
    value: int


def full(plane: Sensor, black: float, white: float) -> Full | None:
    """Return where the samples of one place of the pattern pile up below the white level, None
    where they do not. plane: (h, w) DN."""
    counts = np.bincount(plane.ravel(), minlength=int(white) + 1)
    above = counts.sum() - np.cumsum(counts)
    high = np.flatnonzero(counts > _FULL_SHARE * plane.size)
    for value in high[::-1]:
        if value >= white or value - black < 0.5 * (white - black):
            continue
        below = counts[max(0, value - _BELOW) : value].max(initial=0)
        if above[value] <= _FULL_ABOVE * plane.size and counts[value] > _FULL_TIMES * below:
            return Full(float(counts[value]) / plane.size, int(value))
    return None


def known(capture: Capture, name: str) -> object | None:
    """Return what a header says, None where it says nothing: cameras write an aperture of 0 and
    dashes for a lens that tells them nothing."""
    value = getattr(capture, name)
    if isinstance(value, str):
        return value if value.strip("-_ .0") else None
    return value or None


def unsaid(*captures: Capture) -> list[str]:
    """Return in words what one of these headers does not say, of what a light capture needs."""
    return [
        word
        for name, word in _FACTS.items()
        if any(known(capture, name) is None for capture in captures)
    ]


def unproved(
    light: Capture, capture: Capture, path: str, master: str, *, accepted: bool
) -> list[Finding]:
    """Return what is told where headers do not say whether a light capture holds. path: its.
    accepted: whether the settings accept that."""
    lacking = unsaid(light, capture)
    if not lacking:
        return []
    return [
        Finding(
            "develop.light_unproved",
            master,
            f"Whether the light capture {path} holds for it is not certain: the headers do not "
            f"say {wording.listed(lacking)}.",
            "captures whose headers say camera, body, lens, aperture and time.",
            "See that it was captured in the same session with the same set-up. Where lens or "
            "camera never say it, `raw.unstated: note` accepts that.",
            "note" if accepted else "review",
        )
    ]


def iso(light: Capture, capture: Capture, path: str, master: str) -> list[Finding]:
    """Return what is told of a light capture at another ISO."""
    if not light.iso or not capture.iso or light.iso == capture.iso:
        return []
    return [
        Finding(
            "develop.iso",
            master,
            f"It was captured at ISO {capture.iso:g}, the light capture {path} at ISO "
            f"{light.iso:g}: how bright the film is against the bare table rests on these numbers, "
            "which few sensors keep exactly.",
            "one ISO for the film and the bare table.",
            "Capture the bare table at the film's ISO; else take its densities as relative.",
            "review",
        )
    ]


def lamp_changed(
    first: tuple[float, ...], second: tuple[float, ...], paths: tuple[str, str], master: str
) -> list[Finding]:
    """Return what is told where the bare table had changed after a capture. first, second: its
    light in red, green and blue over the exposure, before and after."""
    apart = max((b / a - 1 for a, b in zip(first, second, strict=True)), key=abs)
    if abs(apart) <= DRIFT:
        return []
    return [
        Finding(
            "develop.lamp_changed",
            master,
            f"The bare table was captured before it ({paths[0]}) and after it ({paths[1]}), and "
            f"its light had changed by {apart:+.0%} in between; it is developed with the earlier "
            "one.",
            f"light that stays within {DRIFT:.0%}.",
            "Let the lamp warm up, leave its dimmer alone, and capture the bare table more often; "
            "capture this film again where its densities matter.",
            "review",
        )
    ]


def dark_other(dark: Capture, capture: Capture, path: str, master: str) -> list[Finding]:
    """Return what is told of a dark capture of other circumstances."""
    why = []
    if dark.exposure_s and capture.exposure_s:
        times = dark.exposure_s / capture.exposure_s
        if not _DARK_LEAST <= times <= _DARK_MOST:
            than = "shorter" if times < 1 else "longer"
            why.append(
                f"it was exposed {than} ({dark.exposure_s:.4g} s, the film {capture.exposure_s:.4g}"
                " s)"
            )
    if dark.iso and capture.iso and dark.iso != capture.iso:
        why.append(f"it is of ISO {dark.iso:g}, the film of ISO {capture.iso:g}")
    if dark.taken and capture.taken:
        days = abs(datetime.fromisoformat(capture.taken) - datetime.fromisoformat(dark.taken)).days
        if days > _DARK_DAYS:
            why.append(f"{days} days lie between them")
    if not why:
        return []
    return [
        Finding(
            "develop.dark_other",
            master,
            f"The dark capture {path} may not show the pixels that shine in it: "
            f"{' and '.join(why)}.",
            "a dark capture exposed as the film is, of these weeks.",
            "Capture the dark anew, with the film's exposure time and ISO; or take it out of the "
            "batch folder.",
            "review",
        )
    ]


def brighter(share: float, light: str, master: str) -> list[Finding]:
    """Return what is told of a picture that is in part brighter than the bare table. share: of its
    blocks; light: path of the light capture."""
    if share <= LEAST_BRIGHTER:
        return []
    return [
        Finding(
            "develop.brighter",
            master,
            f"{share:.2%} of it are more than {BRIGHTER - 1:.0%} brighter than the bare table of "
            f"{light}: the lamp has changed since, film lay on the table then, or exposures are "
            "not what the headers say.",
            "nothing brighter than the bare table.",
            "Look at the light capture; capture the bare table again, and the film with it.",
            "review",
        )
    ]


def full_below(planes: list[Sensor], black: npt.NDArray[np.float64], white: float) -> Full | None:
    """Return the fullest of a sensor's four places, see `full`; every second row is looked at."""
    levels = black.ravel()
    found = [full(plane[::2], float(levels[i]), white) for i, plane in enumerate(planes)]
    return max((each for each in found if each), key=lambda each: each.share, default=None)


def full_told(at: Full, white: float, master: str) -> Finding:
    return Finding(
        "develop.full",
        master,
        f"{at.share:.1%} of the samples of one colour stand at {at.value} exactly, below the white "
        f"level of {white:g} that the file states: the sensor seems to be full there, and what was "
        "brighter is lost.",
        "no part of the film as bright as that.",
        "Where that is bare table beside the film, nothing; else capture it with less exposure.",
        "review",
    )
