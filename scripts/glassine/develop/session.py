"""Which of a session's own captures holds for a raw capture, and what is wrong with those that do
not: the words a person needs before the film leaves the table."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from glassine.base import files, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.developed import CalibrationFile, StoredField
from glassine.base.records.parts import Capture, Digests, Header
from glassine.develop import doubts, flat, stored
from glassine.develop.flat import Field, Mask
from glassine.develop.given import Calibration, DevelopGiven
from glassine.masters import fixity, raws
from glassine.masters.opened import opened
from glassine.masters.raws import Raw

# What a light capture and the capture of film must have in common, in words.
_SAME = {
    "make": "camera",
    "model": "camera",
    "serial": "camera body",
    "lens": "lens",
    "f_number": "aperture",
    "focal_mm": "focal length",
}
_CLIPPED, _DARK, _UNEVEN, _STRANGE = 0.001, 0.05, 0.3, 0.04
# Share of pixels that may not work: more are noise, or no capture of that kind.
_MANY = 0.01
# DN over the stated black level that a dark capture may have in the mean, and share of the range
# from which on it is not dark.
_BLACK_DN, _NOT_DARK = 2.0, 0.01


@dataclass(frozen=True)
class Light:
    """A capture of the bare table as it was measured. kept: as the record keeps it; field: made of
    that. problem: why it cannot be used."""

    file: CalibrationFile
    header: Header
    kept: StoredField | None
    field: Field | None
    dead: Mask | None
    problem: str = ""

    @property
    def exposure(self) -> float | None:
        return exposure_of(self.header.capture)


@dataclass(frozen=True)
class Dark:
    """A capture in the dark. level: mean DN over the black level that the file states."""

    file: CalibrationFile
    header: Header
    hot: Mask
    level: float


@dataclass
class Session:
    """The calibration captures that lie in the batch, read when they are asked for."""

    batch_dir: Path
    given: DevelopGiven
    lights: dict[str, Light] = field(default_factory=dict)
    darks: dict[str, Dark] = field(default_factory=dict)
    headers: dict[str, Header] = field(default_factory=dict)

    def light_for(self, header: Header, master: str) -> tuple[Light | None, list[Finding]]:
        """Return the light capture that holds for a master, and what is to be told of it."""
        wanted = [each for each in self.given.calibration if each.role == "light"]
        if not wanted:
            return None, [self._without("none of it lies in the batch", master)]
        candidates = []
        reasons = []
        for each in wanted:
            capture = self._header(each).capture
            why = self._why_not(capture, header.capture)
            if why:
                reasons.append(f"{each.path}: {why}")
            else:
                candidates.append((capture.taken or "", each))
        if not candidates:
            return None, [self._without("; ".join(reasons[:4]), master)]
        taken = [moment for moment, _ in candidates]
        if len(candidates) > 1 and not all(taken):
            names = wording.listed([each.path for _, each in candidates])
            why = f"several light captures may hold, and their headers have no time ({names})"
            return None, [self._without(why, master)]
        light = self._measured(max(candidates, key=lambda pair: (pair[0], pair[1].path))[1])
        if light.problem:
            return None, [self._without(f"{light.file.path}: {light.problem}", master)]
        if (light.header.width, light.header.height, _pattern(light.header)) != (
            header.width,
            header.height,
            _pattern(header),
        ):
            why = f"{light.file.path} is of another size or pattern of colours"
            return None, [self._without(why, master)]
        return light, self._doubts(light, header, master)

    def _doubts(self, light: Light, header: Header, master: str) -> list[Finding]:
        """Return what is to be told of a light capture that holds."""
        mine, theirs, path = light.header.capture, header.capture, light.file.path
        accepted = self.given.settings.raw.unstated == "note"
        listed = any(each.expected for each in self.given.calibration if each.path == path)
        notes = raws.notes_on(light.header, path, listed=listed, lossy="note")
        findings = [note for note in notes if note.severity == "review"]
        findings += _uneven(light, master)
        findings += doubts.unproved(mine, theirs, path, master, accepted=accepted)
        findings += doubts.iso(mine, theirs, path, master)
        after = self._light_after(light, theirs)
        if after is not None:
            levels = _per_exposure(light), _per_exposure(after)
            findings += doubts.lamp_changed(*levels, (path, after.file.path), master)
        return findings

    def _light_after(self, light: Light, master: Capture) -> Light | None:
        """Return the first light capture after a master with the same set-up, None without one."""
        taken = master.taken
        later = []
        for each in self.given.calibration:
            if each.role != "light" or not taken or each.path == light.file.path:
                continue
            capture = self._header(each).capture
            same = not _part(capture, master) and capture.iso == light.header.capture.iso
            if same and capture.taken and capture.taken > taken:
                later.append((capture.taken, each.path, each))
        if not later or light.exposure is None:
            return None
        moment, _, first = min(later, key=lambda each: each[:2])
        if _hours(taken or "", moment) > self.given.settings.raw.light_hours:
            return None
        after = self._measured(first)
        return after if after.exposure and not after.problem else None

    def dark_for(self, header: Header) -> Dark | None:
        """Return the dark capture of the same camera body, the latest of several."""
        found = []
        for each in self.given.calibration:
            if each.role != "dark":
                continue
            other = self._header(each)
            same = ("make", "model", "serial")
            if all(
                getattr(other.capture, name) == getattr(header.capture, name) for name in same
            ) and (other.width, other.height, _pattern(other)) == (
                header.width,
                header.height,
                _pattern(header),
            ):
                found.append((other.capture.taken or "", each.path, each))
        return self._dark(max(found)[2]) if found else None

    def _header(self, each: Calibration) -> Header:
        if each.path not in self.headers:
            self.read(each)
        return self.headers[each.path]

    def read(self, each: Calibration) -> tuple[Raw, CalibrationFile]:
        """Return a decoded capture and its digests. Raises GlassineError where it cannot be read,
        or is not what the checksum lists say."""
        path = files.inside(self.batch_dir, each.path)
        try:
            with opened(path) as held:
                names = tuple(dict.fromkeys([*fixity.ALGORITHMS, *each.expected]))
                digests, count = fixity.digests(held.content, names)
                most = self.given.settings.intake.max_pixels
                raw = raws.read(path, most, held.content, each.path)
                unchanged = held.is_as_noted(each.bytes, each.mtime_ns) and held.is_unchanged()
        except OSError as problem:
            raise fixity.unreadable(each.path, problem) from problem
        if not unchanged:
            raise fixity.changed(each.path)
        if any(digests[name] != digest for name, digest in each.expected.items()):
            raise GlassineError.because(
                "develop.calibration_digest",
                each.path,
                "This calibration capture is not what the checksum list says.",
                "the file as the capture station wrote it.",
                "Copy it again from the capture station, or take it out of the batch folder.",
            )
        self.headers[each.path] = raw.header
        kept = {name: digests[name] for name in fixity.ALGORITHMS}
        return raw, CalibrationFile(
            role=each.role, path=each.path, bytes=count, digests=_digests(kept)
        )

    def _measured(self, each: Calibration) -> Light:
        if each.path not in self.lights:
            raw, file = self.read(each)
            self.lights[each.path] = light_of(raw, file)
        return self.lights[each.path]

    def _dark(self, each: Calibration) -> Dark:
        if each.path not in self.darks:
            raw, file = self.read(each)
            self.darks[each.path] = _dark(raw, file)
        return self.darks[each.path]

    def _why_not(self, light: Capture, master: Capture) -> str:
        """Return why a light capture does not hold for another capture, "" where it does."""
        part = _part(light, master)
        if part:
            return part
        if light.taken and master.taken:
            hours = _hours(light.taken, master.taken)
            if hours < 0:
                return f"taken later ({light.taken})"
            if hours > self.given.settings.raw.light_hours:
                return f"{hours:.0f} hours older (`raw.light_hours` is the limit)"
        return ""

    def _without(self, why: str, master: str) -> Finding:
        required = self.given.settings.raw.light == "require"
        return Finding(
            "develop.no_light",
            master,
            f"It is developed without a capture of the bare light table: {why}. Fall-off of the "
            "lens is not corrected, and white is what the camera was set to."
            if not required
            else f"No capture of the bare light table holds for it: {why}.",
            "a light capture by the same camera, lens and aperture, not later than the film's "
            "capture.",
            "Capture the bare table at the start of each session (light.dng); then run again.",
            "hold" if required else "review",
        )


def _part(light: Capture, master: Capture) -> str:
    """Return in what two captures' set-ups part, "" where they do not."""
    for name, word in _SAME.items():
        one, other = doubts.known(light, name), doubts.known(master, name)
        if one != other and (name != "lens" or (one and other)):
            return f"another {word} ({_shown(one)}, the capture has {_shown(other)})"
    return ""


def _per_exposure(light: Light) -> tuple[float, ...]:
    """Return the bare table's red, green and blue over seconds times ISO."""
    assert light.field is not None and light.exposure is not None
    return tuple(value / light.exposure for value in light.field.peak)


def _shown(value: object) -> str:
    return "none" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _pattern(header: Header) -> str | None:
    return header.raw.pattern if header.raw else None


def _hours(earlier: str, later: str) -> float:
    apart = datetime.fromisoformat(later) - datetime.fromisoformat(earlier)
    return apart.total_seconds() / 3600


def _digests(kept: dict[str, str]) -> Digests:
    return Digests(sha256=kept["sha256"], sha512=kept["sha512"])


def exposure_of(capture: Capture) -> float | None:
    """Return seconds times ISO, None where the header lacks one of them."""
    if not capture.exposure_s or not capture.iso:
        return None
    return capture.exposure_s * capture.iso


def light_of(raw: Raw, file: CalibrationFile) -> Light:
    """Return a capture of the bare table as it was measured, or why it cannot be used."""
    if raw.pattern is None:
        return Light(file, raw.header, None, None, None, "it is a linear raw, no mosaic")
    measured = flat.field_of(raw)
    full = doubts.full_below(flat.planes_of(raw), raw.black, raw.white)
    dead = flat.dead_pixels(raw)
    problem = ""
    if measured.clipped > _CLIPPED:
        problem = f"{measured.clipped:.1%} of it are clipped"
    elif full is not None:
        problem = (
            f"{full.share:.1%} of one colour are clipped: they stand at {full.value}, below the "
            f"white level of {raw.white:g}"
        )
    elif max(measured.peak) < _DARK:
        problem = f"it is too dark (its brightest colour is at {max(measured.peak):.1%})"
    elif measured.strange > _STRANGE:
        problem = f"something lies on the table ({measured.strange:.0%} of it are no even light)"
    elif dead.mean() > _MANY:
        problem = f"{dead.mean():.1%} of its pixels differ from those about them"
    if problem:
        return Light(file, raw.header, None, None, None, problem)
    kept = stored.stored(measured)
    return Light(file, raw.header, kept, stored.read(kept), dead)


def _dark(raw: Raw, file: CalibrationFile) -> Dark:
    if raw.pattern is None:
        raise GlassineError.because(
            "develop.dark",
            file.path,
            "This dark capture is a linear raw, no mosaic.",
            "the sensor's own samples.",
            "Take it out of the batch folder, or capture it as the film is captured.",
        )
    hot = flat.dead_pixels(raw)
    if hot.mean() > _MANY:
        raise GlassineError.because(
            "develop.dark",
            file.path,
            f"{hot.mean():.1%} of this dark capture's pixels shine: filled in, they would blur the "
            "film.",
            f"at most {_MANY:.0%} of hot pixels.",
            "Capture it again as the film is exposed, or take it out of the batch folder.",
        )
    levels = []
    for place, plane in enumerate(flat.planes_of(raw)):
        down, across = divmod(place, 2)
        cold = ~hot[down : 2 * plane.shape[0] : 2, across : 2 * plane.shape[1] : 2]
        levels.append(float(plane[cold].mean()) - float(raw.black.ravel()[place]))
    level = max(levels, key=abs)
    if abs(level) > _NOT_DARK * (raw.white - float(raw.black.max())):
        raise GlassineError.because(
            "develop.dark",
            file.path,
            f"This capture is not dark: its mean lies {level:.1f} DN from the black level that it "
            "states.",
            "a capture with the lens covered, at the black level.",
            "Capture it again with the lens covered, or take it out of the batch folder.",
        )
    return Dark(file, raw.header, hot, level)


def _uneven(light: Light, master: str) -> list[Finding]:
    field_ = light.field
    if field_ is None or field_.least >= _UNEVEN:
        return []
    return [
        Finding(
            "develop.light_uneven",
            light.file.path,
            f"The light of the table falls to {field_.least:.0%} of its most; {master} is "
            "developed with it, and is noisier there.",
            f"at least {_UNEVEN:.0%} everywhere.",
            "Look at lamp, lens and aperture.",
            "review",
        )
    ]


def dark_doubts(dark: Dark, capture: Capture, master: str) -> list[Finding]:
    """Return what a dark capture says against the black level that files state, and what speaks
    against itself."""
    other = doubts.dark_other(dark.header.capture, capture, dark.file.path, master)
    if abs(dark.level) <= _BLACK_DN:
        return other
    return [
        *other,
        Finding(
            "develop.black",
            master,
            f"The dark capture {dark.file.path} lies {dark.level:+.1f} DN from the black level "
            "that the files state; the picture is developed with the level stated.",
            f"at most {_BLACK_DN:g} DN.",
            "See whether the dark capture was light-tight; dense parts of the film are wrong where "
            "the stated level is.",
            "review",
        ),
    ]
