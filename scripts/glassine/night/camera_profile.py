"""A studio's profile of its camera: from a raw capture of a target and one of the bare table.

    scripts/profile-camera target.dng light.dng film-target.yaml

What the target's patches are stands in its description (config/targets/README.md). Printed are how
far the fit is off, each patch also by a fit to the others, and the lines for `raw.profiles` in the
settings. Files are only read; what is developed goes to a temporary folder.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import yaml

from glassine.base import hashing, processor
from glassine.base.errors import GlassineError
from glassine.base.records.developed import CalibrationFile
from glassine.base.records.parts import Digests
from glassine.base.visible import visible
from glassine.develop import profile, session, step
from glassine.develop.given import CameraProfile
from glassine.develop.profile import Floats
from glassine.develop.session import Light
from glassine.masters import opening, raws
from glassine.masters.raws import Raw
from glassine.targets import colour, description
from glassine.targets.capture import open_capture
from glassine.targets.description import Description
from glassine.targets.find import find
from glassine.targets.placement import NotFound
from glassine.targets.sampling import Reading, read_patches

# Patches that a fit needs at least: with 12 film patches single colours were 6.7 off (measured).
LEAST_PATCHES = 16
# Patches of more than so much of full scale as the noise of a neighbour; darker than this is noise.
_DARK = 2e-4
# For finding the target alone: a camera's usual share of colours in luminance.
_ANY = ((0.40, 0.35, 0.21), (0.25, 0.65, 0.10), (0.02, 0.10, 0.70))


@dataclass(frozen=True)
class Patches:
    """camera: (n, 3), the bare table is 1; xyz: (n, 3), D50, the table has Y = 1."""

    names: list[str]
    camera: Floats
    xyz: Floats


def _refused(path: Path, what: str, expected: str, next_step: str) -> GlassineError:
    return GlassineError.because("develop.target", str(path), what, expected, next_step)


def patches_of(target: Path, light: Path, described: Description) -> tuple[Patches, Raw, Light]:
    """Return the patches as the camera saw them, over the light of the bare table.

    Raises GlassineError where a file cannot be read, the target is not found, or captures do not
    belong together.
    """
    raw, table = raws.read(target, opening.MAX_PIXELS), raws.read(light, opening.MAX_PIXELS)
    digests = hashing.of_file(light)
    kept = CalibrationFile(
        role="light",
        path=light.name,
        bytes=digests.bytes,
        digests=Digests(sha256=digests.sha256, sha512=digests.sha512),
    )
    measured = session.light_of(table, kept)
    problem = measured.problem
    if not problem and raw.sensor.shape != table.sensor.shape:
        problem = "its size is not that of the target's capture"
    if measured.field is None or problem:
        raise _refused(
            light,
            f"As a capture of the bare table it cannot be used: {problem}.",
            "an even capture of the bare table, as the target was captured.",
            "Capture the bare table as the target was captured.",
        )
    gains, level, findings = step.gains_of(raw, target.name, measured)
    if findings or level is None:
        raise GlassineError(findings)
    anything = CameraProfile(model="", lamp=(1.0, 1.0), matrix=_ANY, target="", kind="transmissive")
    plan = step.Plan("DHT", "camera", gains, level, measured.field, measured.dead, anything)
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "target.tif"
        step.make(raw, plan, made, target.name)
        capture = open_capture(made, None)
        try:
            placement = find(capture, described)
        except NotFound as problem_:
            raise _refused(
                target,
                f"The target {described.id} was not found: {problem_}.",
                "the target as described.",
                "Capture the target again, or correct its description.",
            ) from problem_
        readings, _ = read_patches(capture, placement, described.patches)
    return _usable(target, readings, level, described.kind), raw, measured


def _usable(target: Path, readings: list[Reading], level: float, kind: str) -> Patches:
    kept = [each for each in readings if each.clipped == 0 and each.light.min() > _DARK]
    if len(kept) < LEAST_PATCHES:
        raise _refused(
            target,
            f"{len(kept)} of its patches can be used; the others are clipped, too dark or too "
            "small.",
            f"at least {LEAST_PATCHES}, of many colours.",
            "Use a target with more patches of colour, or expose it otherwise.",
        )
    camera = np.array([each.light for each in kept]) / level
    xyz = np.array([each.patch.xyz for each in kept])
    if kind == "reflective":  # the light capture is a board, whose own whiteness is not known
        greys = [place for place, each in enumerate(kept) if "neutral" in each.patch.roles]
        places = greys or list(range(len(kept)))
        camera *= float(np.median(xyz[places, 1] / camera[places, 1]))
    return Patches([each.patch.name for each in kept], camera, xyz)


def differences(xyz: Floats, wanted: Floats) -> Floats:
    """Return CIEDE2000 of each patch."""
    return colour.delta_e_2000(colour.lab_from_xyz(xyz), colour.lab_from_xyz(wanted))


def said(patches: Patches) -> list[str]:
    """Return how far fits are off, a line each."""
    lines = []
    for kind, name in (("matrix", "matrix 3 x 3"), ("roots", "root polynomial of degree 2")):
        kind_: profile.Terms = "matrix" if kind == "matrix" else "roots"
        matrix = profile.fit(patches.camera, patches.xyz, kind_)
        own = differences(profile.terms(patches.camera, kind_) @ matrix.T, patches.xyz)
        others = differences(profile.left_out(patches.camera, patches.xyz, kind_), patches.xyz)
        worst = patches.names[int(np.argmax(others))]
        lines.append(
            f"  {name}: CIEDE2000 {own.mean():.2f} (at most {own.max():.2f}); each patch by a fit "
            f"to the others {others.mean():.2f} (at most {others.max():.2f}, {worst})"
        )
    return lines


def settings_of(patches: Patches, raw: Raw, light: Light, described: Description) -> str:
    """Return the lines for the settings."""
    capture = raw.header.capture
    assert light.field is not None
    entry = {
        "model": capture.model or "",
        "serial": capture.serial or "",
        "lens": capture.lens or "",
        "lamp": [round(value, 5) for value in profile.lamp_of(light.field)],
        "matrix": [
            [round(float(value), 6) for value in row]
            for row in profile.fit(patches.camera, patches.xyz)
        ],
        "target": described.id,
        "kind": described.kind,
    }
    whole = {"raw": {"profiles": [entry]}}
    return str(yaml.safe_dump(whole, sort_keys=False, default_flow_style=None))


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        prog="scripts/profile-camera",
        description="Fit a camera's colours on a raw capture of a target and one of the bare "
        "table; print how far the fit is off, and the lines for `raw.profiles` in the settings.",
    )
    parser.add_argument("target", type=Path, help="raw capture of the target")
    parser.add_argument("light", type=Path, help="raw capture of the bare table")
    parser.add_argument("description", type=Path, help="of the target (config/targets/README.md)")
    options = parser.parse_args(arguments)
    processor.same_everywhere()
    try:
        described = description.read(options.description)
        patches, raw, light = patches_of(options.target, options.light, described)
    except GlassineError as error:
        print("\n".join(visible(finding.sentence()) for finding in error.findings))
        return 1
    except OSError as problem:
        print(visible(f"It cannot be read: {problem}"))
        return 1
    count = f"{len(patches.names)} of {len(described.patches)}"
    unused = [each.name for each in described.patches if each.name not in patches.names]
    without = f"; clipped, too dark or too small: {', '.join(unused)}" if unused else ""
    print(visible(f"{described.title}: {count} patches can be used{without}"))
    print("\n".join(visible(line) for line in said(patches)))
    if described.kind == "reflective":
        print("  It is no film: on film, expect 1.6 to 3 times as much.")
    print("The matrix, as lines for the settings:\n")
    print(settings_of(patches, raw, light, described))
    return 0


if __name__ == "__main__":
    sys.exit(main())
