"""Targets that were captured raw: developed as the session's film is, then measured.

The pictures lie in a temporary folder beside the results and are not kept: each is the same bytes
again from its raw file and the same light capture, and the record has its digest.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from glassine.base import files, hashing
from glassine.base.records.developed import CalibrationFile, DevelopedMaster
from glassine.base.records.given import Master
from glassine.base.records.target import DevelopedCapture
from glassine.develop import step, stored
from glassine.develop.given import Calibration, DevelopGiven
from glassine.develop.session import Session
from glassine.masters import raws
from glassine.masters.raws import Raw
from glassine.targets import gate
from glassine.targets.capture import Sensor
from glassine.targets.figures import DEPTH_PX
from glassine.targets.given import TargetsGiven
from glassine.targets.raw_captures import Developed

_PREFIX = f"{files.TEMPORARY_PREFIX}targets-"


def measure(batch_dir: Path, results_dir: Path, given: dict[str, Any]) -> None:
    """Do as `targets.gate.measure`; raw captures of targets are developed first.

    given: of TargetsGiven, and under `develop` of DevelopGiven where a capture is raw.
    """
    targets = msgspec.convert(given, TargetsGiven)
    if "develop" not in given:
        gate.measure(batch_dir, results_dir, targets)
        return
    developing = msgspec.convert(given["develop"], DevelopGiven)
    for left in results_dir.glob(f"{_PREFIX}*"):  # of a run that was killed
        files.remove_tree(left)
    with tempfile.TemporaryDirectory(prefix=_PREFIX, dir=results_dir) as folder:
        develop = _Developing(Session(batch_dir, developing), developing, Path(folder))
        gate.measure(batch_dir, results_dir, targets, develop)


@dataclass
class _Developing:
    """Develops captures into a folder, one file for each."""

    session: Session
    given: DevelopGiven
    folder: Path
    count: int = 0

    def __call__(self, capture: Master) -> Developed:
        self.count += 1
        picture = self.folder / f"{self.count:04d}.tif"
        own = Calibration(
            role="target",
            path=capture.path,
            bytes=capture.bytes,
            mtime_ns=capture.mtime_ns,
            expected=capture.expected,
        )
        raw, file = self.session.read(own)
        made = step.picture_of(raw, capture.path, self.given, self.session, picture)
        return Developed(
            picture,
            raw.header.capture,
            sensor_of(raw, made.developed),
            _recorded(file, made.developed, hashing.of_file(picture).sha256),
            made.findings,
        )


def sensor_of(raw: Raw, made: DevelopedMaster) -> Sensor:
    """Return what of the sensor's samples the picture no longer shows."""
    height, width = (side // 2 * 2 for side in raw.sensor.shape[:2])
    dead = stored.read_pixels(made.dead_pixels, raw.sensor.shape[:2])
    samples = raw.sensor[:height, :width]
    bits = int(raw.white).bit_length()  # the file's samples may be wider
    if raw.pattern is None:
        at_white = np.asarray((samples >= raw.white).any(axis=2))
        return Sensor(bits, _middle(samples), at_white)
    full = (samples >= raw.white) & ~dead[:height, :width]
    squares = full.reshape(height // 2, 2, width // 2, 2).any(axis=(1, 3))
    planes = np.stack([samples[down::2, across::2] for down in (0, 1) for across in (0, 1)], -1)
    at_white = np.repeat(np.repeat(squares, 2, 0), 2, 1)
    return Sensor(bits, _middle(planes, DEPTH_PX // 2), at_white)


def _middle(samples: raws.Sensor, side: int = DEPTH_PX) -> raws.Sensor:
    """Return the middle of samples (h, w, n), at most `side` px high and wide."""
    top, left = (max(0, (length - side) // 2) for length in samples.shape[:2])
    return np.ascontiguousarray(samples[top : top + side, left : left + side])


def _recorded(file: CalibrationFile, made: DevelopedMaster, picture: str) -> DevelopedCapture:
    return DevelopedCapture(
        path=file.path,
        digests=file.digests,
        picture_sha256=picture,
        method=made.method,
        gains=made.gains,
        table=made.table,
        output=made.output,
        matrix_from=made.matrix_from,
        target=made.target,
        filled=made.dead,
        over=made.over,
        at_white=made.at_white,
        calibration=made.calibration,
        libraw=raws.software(),
        version=step.VERSION,
    )
