"""The table of cases: each a number of films, of one frame or six, with what an honest print shows.

An honest print is balanced for the light that the scene stood in and for the exposure: the surfaces
themselves. Under mixed light it is balanced for the mean of both. Of black and white film it is
what the film saw, at the contrast of the scene; of a slide, the slide before it faded.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from scipy.ndimage import gaussian_filter

from makers.tone_judge import capture, scenes, stocks
from makers.tone_judge.spectra import CAMERAS, ILLUMINANTS, LIGHTS, NM, SRGB_TO_XYZ, observer

REBATE, HOLDER = 26, 10


@dataclass(frozen=True)
class Case:
    """What is particular of a case; all else is usual.

    frames: of each film, 1 or 6. base: whether rebate can be seen about the frame. ev: exposure of
    each frame, in turn. subject: a kind of one-colour frame, "mixed" for one of each in a film.
    process: colour, monochrome or slide.
    """

    name: str
    frames: int = 1
    base: bool = True
    ev: tuple[float, ...] = (0.0,)
    light: str = "daylight"
    state: str = ""
    subject: str = ""
    process: str = "colour"
    masked: bool = True
    encoding: str = "linear"
    camera: str = ""
    clean: bool = False


_ALL_EV = (0.0, -1.0, 1.0, -2.0, 2.0, 3.0)
_SINGLE = (
    Case("clean", clean=True),
    Case("usual, base"),
    Case("usual, no base", base=False),
    *(Case(f"{ev:+g} EV", ev=(ev,)) for ev in (-2.0, -1.0, 1.0, 2.0, 3.0)),
    Case("tungsten", light="tungsten"),
    Case("shade", light="shade"),
    Case("mixed light", light="mixed"),
    Case("faded", state="faded"),
    Case("expired", state="expired"),
    Case("no mask", masked=False),
    *(Case(f"encoded {name}", encoding=name) for name in capture.ENCODINGS if name != "linear"),
    *(Case(f"camera {name}", camera=name, encoding="camera") for name in CAMERAS),
    *(Case(kind, subject=kind) for kind in scenes.ONE_COLOUR),
    Case("b&w, base", process="monochrome"),
    Case("b&w, no base", process="monochrome", base=False),
    Case("b&w -2 EV", process="monochrome", ev=(-2.0,)),
    Case("b&w +2 EV", process="monochrome", ev=(2.0,)),
    Case("slide", process="slide", base=False),
    Case("slide, faded", process="slide", base=False, state="faded"),
)
_FILMS = (
    Case("film: usual", 6),
    Case("film: no base", 6, base=False),
    Case("film: -2 to +3 EV", 6, ev=_ALL_EV),
    Case("film: tungsten", 6, light="tungsten"),
    Case("film: faded", 6, state="faded"),
    Case("film: expired", 6, state="expired"),
    Case("film: encoded romm", 6, encoding="romm"),
    Case("film: one-colour frames", 6, subject="mixed"),
    Case("film: one-colour, no base", 6, subject="mixed", base=False),
    Case("film: b&w", 6, process="monochrome"),
)
CASES = {case.name: case for case in (*_SINGLE, *_FILMS)}


@dataclass(frozen=True)
class Shot:
    """One master: codes uint16 (h, w, 3) with its profile; box: left, top, right, bottom of the
    picture in it, px; base: the same of clear film; truth: sRGB 0..1 (h, w, 3) of the picture."""

    scene: str
    codes: np.ndarray
    icc: bytes
    box: tuple[int, int, int, int]
    base: tuple[tuple[int, int, int, int], ...]
    truth: np.ndarray
    rig: capture.Rig


@dataclass(frozen=True)
class Film:
    """The masters of one film. process: as a studio states it."""

    process: str
    polarity: str
    shots: list[Shot] = field(default_factory=list)


def film(case: Case, number: int, folder: Path | None = None) -> Film:
    """Return the film of this number of a case: the same each time."""
    rng = np.random.default_rng([number, sum(case.name.encode())])
    stock = _stock(case, rng)
    rig = capture.Rig(
        camera="sharp" if case.clean else case.camera or str(rng.choice(list(CAMERAS))),
        light="white" if case.clean else str(rng.choice(list(LIGHTS))),
        encoding=case.encoding,
        flare=0.0 if case.clean else 0.005,
        vignette=0.0 if case.clean else float(rng.uniform(0.02, 0.06)),
        level=float(rng.uniform(0.6, 0.9)),
    )
    made = Film(
        "monochrome" if case.process == "monochrome" else "colour",
        "positive" if case.process == "slide" else "negative",
    )
    for frame in range(case.frames):
        name, scene = _scene(case, number * case.frames + frame, frame, folder)
        made.shots.append(_shot(case, name, scene, stock, rig, frame, rng))
    return made


def _stock(case: Case, rng: np.random.Generator) -> stocks.Stock:
    if case.process == "monochrome":
        stock = stocks.monochrome(rng)
    elif case.process == "slide":
        stock = stocks.slide(rng)
    else:
        stock = stocks.negative(rng, case.masked)
    if case.clean:
        stock = replace(stock, grain=0.002)
    change = {"faded": stocks.faded, "expired": stocks.expired}.get(case.state)
    return change(stock, rng) if change else stock


def _scene(case: Case, number: int, frame: int, folder: Path | None) -> tuple[str, np.ndarray]:
    kinds = list(scenes.ONE_COLOUR)
    if case.subject == "mixed":  # three usual frames, three of one colour
        if frame % 2:
            return scenes.one_colour(kinds[(number // 2) % len(kinds)], number)
        return scenes.usual(number, folder)
    return scenes.one_colour(case.subject, number) if case.subject else scenes.usual(number, folder)


def _lit(case: Case, stock: stocks.Stock, scene: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the film's exposures of a scene, and the scene as its honest print shows it."""
    if case.light != "mixed":
        return stocks.exposures(stock, scene, ILLUMINANTS[case.light]), scene
    side = np.linspace(0, 1, scene.shape[1])[None, :, None]  # from daylight to lamps
    day = stocks.exposures(stock, scene, ILLUMINANTS["daylight"])
    lamp = stocks.exposures(stock, scene, ILLUMINANTS["tungsten"])
    both = (1 - 0.6 * side) * day + 0.6 * side * lamp
    tint = _tint("daylight", "tungsten")
    cast = (1 - 0.6 * side) + 0.6 * side * tint
    return both, scene * cast / cast.mean(axis=1, keepdims=True)


def _tint(of: str, beside: str) -> np.ndarray:
    """Return linear sRGB of a white surface in one light where another is white."""

    def rgb(name: str) -> np.ndarray:
        return np.asarray(np.linalg.solve(SRGB_TO_XYZ, observer() @ ILLUMINANTS[name]))

    tint = rgb(beside) / rgb(of)
    return np.asarray(np.clip(tint / tint[1], 0.1, None))


def _shot(
    case: Case,
    name: str,
    scene: np.ndarray,
    stock: stocks.Stock,
    rig: capture.Rig,
    frame: int,
    rng: np.random.Generator,
) -> Shot:
    exposed, honest = _lit(case, stock, scene)
    exposed = exposed * 2.0 ** case.ev[frame % len(case.ev)]
    before = rng.bit_generator.state
    amounts = stocks.develop(stock, exposed, rng)
    through = stock.through(gaussian_filter(amounts, (0.4, 0.4, 0)))
    if case.process == "slide":
        fresh = replace(stock, lost=(0.0,) * 3, stain=0.0)
        rng.bit_generator.state = before
        same = stocks.develop(fresh, exposed, rng)
        steady = replace(rig, flare=0.0, vignette=0.0)
        raw = capture.seen(steady, fresh.through(gaussian_filter(same, (0.4, 0.4, 0))))
        truth = capture.as_srgb(rig, raw * 0.98)
    elif case.process == "monochrome":
        grey = exposed / 2.0 ** case.ev[frame % len(case.ev)]
        truth = np.repeat(scenes.coded(grey), 3, axis=-1)
    else:
        truth = scenes.coded(honest)
    whole, box, base = _mounted(case, stock, through)
    raw = capture.seen(rig, whole)
    brightest = 1.0 if case.process == "slide" else _clear(stock, rig).max()
    scale = 0.98 if case.process == "slide" else rig.level / brightest
    codes, icc = capture.encode(rig, raw, scale)
    return Shot(name, codes, icc, box, base, truth, rig)


def _clear(stock: stocks.Stock, rig: capture.Rig) -> np.ndarray:
    """Return linear light of the encoding of clear film: a studio exposes so that none clips."""
    clear = stock.through(np.zeros((2, 2, 1 if stock.monochrome else 3)))
    return capture.encoded_light(rig, capture.seen(replace(rig, vignette=0.0), clear))[0, 0]


def _mounted(
    case: Case, stock: stocks.Stock, picture: np.ndarray
) -> tuple[np.ndarray, tuple[int, int, int, int], tuple[tuple[int, int, int, int], ...]]:
    """Return the transmittance of all that the camera sees, the picture's box, clear film's."""
    high, wide = picture.shape[:2]
    if not case.base:
        return picture, (0, 0, wide, high), ()
    edge = REBATE + HOLDER
    layers = 1 if stock.monochrome else 3
    whole = np.full((high + 2 * edge, wide + 2 * edge, NM.size), 1e-4)
    clear = stock.through(np.zeros((high + 2 * REBATE, wide + 2 * REBATE, layers)))
    whole[HOLDER:-HOLDER, HOLDER:-HOLDER] = clear
    whole[edge:-edge, edge:-edge] = picture
    right, bottom = wide + edge, high + edge
    base = (
        (edge, HOLDER + 4, right, edge - 4),
        (edge, bottom + 4, right, bottom + REBATE - 4),
    )
    return whole, (edge, edge, right, bottom), base
