"""One target capture after the other: found, measured, judged, and its result written.

For each target: `<stem>.json` (schemas/target.schema.json), plots as SVG, and a picture of the
capture with what was found on it, or what was seen where the target was not found.
"""

from __future__ import annotations

import os
import posixpath
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from msgspec import UNSET

from glassine.base import naming, record_files
from glassine.base import premis_event as events
from glassine.base.errors import Finding, GlassineError
from glassine.base.files import inside
from glassine.base.model import Facts, plain
from glassine.base.records.parts import Event, FindingNote
from glassine.base.records.target import DevelopedCapture, TargetPlace, TargetResult
from glassine.targets import description, figures, judge, plots, raw_captures
from glassine.targets.capture import Capture, open_capture
from glassine.targets.description import Description
from glassine.targets.figures import Captures, Nominal
from glassine.targets.find import find
from glassine.targets.given import GivenTarget, TargetsGiven
from glassine.targets.placement import NotFound, Placement
from glassine.targets.raw_captures import Develop

VERSION = "2"

PACKAGES = ("numpy", "scipy", "opencv-python-headless", "pyvips")


def measure_targets(
    batch_dir: Path, out_dir: Path, given: TargetsGiven, develop: Develop | None = None
) -> list[TargetResult]:
    """Measure every target capture of a batch and return their results.

    batch_dir: the batch folder (read-only). out_dir: where results go, say
    results/<batch>/targets. develop: makes pictures of raw captures; needed where there are any.

    A target that cannot be opened, described or found does not stop the others: its result has
    the state "unreadable" or "not found" and says why. Nothing is raised for them;
    `demands.holds` makes findings of the results.
    """
    results: list[TargetResult] = []
    for target in given.targets:
        stem = _free_stem(stem_of(target.path), {result.file for result in results})
        results.append(_Work(batch_dir, out_dir, given, target, stem, develop).done())
    return results


def stem_of(path: str) -> str:
    """Return the file name stem under which a target's results are written."""
    kept = re.sub(r"[^A-Za-z0-9._-]+", "-", Path(path).with_suffix("").as_posix())
    return kept.strip("-.")[:100] or "target"


def _free_stem(stem: str, taken: set[str]) -> str:
    """Return `stem`, numbered where an earlier target of the batch has it."""
    number, free = 1, stem
    while f"{free}.json" in taken:
        number += 1
        free = f"{stem}-{number}"
    return free


class _Work:
    """The work on one target. `result` is what is known so far: an error leaves it as it stands."""

    def __init__(
        self,
        batch_dir: Path,
        out_dir: Path,
        given: TargetsGiven,
        target: GivenTarget,
        stem: str,
        develop: Develop | None,
    ) -> None:
        self.batch_dir, self.out_dir = batch_dir, out_dir
        self.given, self.target, self.stem = given, target, stem
        self.develop = develop
        self.developed: dict[str, DevelopedCapture] = {}
        self.findings: list[Finding] = []
        self.result = TargetResult(
            batch=given.batch,
            path=target.path,
            file=f"{stem}.json",
            target=Path(target.path).stem,
            kind=target.kind or "transmissive",
            taken=target.taken or "",
            statement=judge.STATEMENT,
            event=_NO_EVENT,
        )

    def done(self) -> TargetResult:
        """Do all of it, write the result and return it."""
        try:
            described = self._describe()
            self._measure(self._capture(self.target.path), described)
        except GlassineError as error:
            failed = self.result.state == "measured"
            self._set(
                state="unreadable" if failed else self.result.state,
                notes=self._notes(),
            )
            self.findings += error.findings
        self._set(findings=[FindingNote(**finding.as_dict()) for finding in self.findings])
        if self.developed:
            self._set(developed=list(self.developed.values()))
        self._set(event=_event(self.result, self.given))
        finished = _rounded(self.result)
        record_files.save(self.out_dir / finished.file, "target", finished)
        return finished

    def _set(self, **changes: Any) -> None:
        self.result = msgspec.structs.replace(self.result, **changes)

    def _describe(self) -> Description:
        described = description.read(_description_path(self.batch_dir, self.target))
        about = {"path": str(self.target.description), "sha256": described.sha256}
        self._set(
            target=described.id,
            kind=described.kind,
            title=described.title,
            described_by={**about, **described.about},
        )
        _check_kind(self.target, described)
        return described

    def _notes(self) -> list[str]:
        """Return what is to be said of captures that are raw."""
        notes = [raw_captures.told(record) for record in self.developed.values()]
        field = self.developed.get(self.target.flat_field or "")
        told = raw_captures.told_of_field(field) if field else ""
        return [*notes, told] if told else notes

    def _developed(self, name: str) -> Capture:
        path = posixpath.normpath(name)
        found = next((each for each in self.target.captures if each.path == path), None)
        if found is None or self.develop is None:
            raise GlassineError.because(
                "targets.path",
                name,
                "This raw capture of a target is not in the batch folder.",
                "a file inside the batch folder.",
                "Bring the capture, or correct the target's path in batch.yaml.",
            )
        made = self.develop(found)
        self.developed[name] = made.record
        self.findings += made.findings
        capture = open_capture(made.picture, None)
        header = msgspec.structs.replace(capture.header, capture=made.camera)
        return replace(capture, header=header, sensor=made.sensor)

    def _capture(self, name: str) -> Capture:
        if naming.is_raw(name):
            return self._developed(name)
        try:
            path = inside(self.batch_dir, name)
        except ValueError as problem:
            raise GlassineError.because(
                "targets.path", name, f"The capture cannot be used: {problem}.",
                "a file inside the batch folder.",
                "Correct the target's path in batch.yaml.",
            ) from problem  # fmt: skip
        return open_capture(path, self.given.facts.encoding)

    def _measure(self, capture: Capture, described: Description) -> None:
        """Find the target, measure, judge, plot."""
        self._set(
            taken=self.result.taken or capture.header.capture.taken or "",
            encoding=capture.encoding.describe,
        )
        placement = self._find(capture, described)
        bare_light = self._capture(self.target.flat_field) if self.target.flat_field else None
        repeats = [self._capture(name) for name in self.target.repeats]
        nominal = _nominal(self.target, self.given.facts, capture)
        known = figures.measure(
            Captures(capture, bare_light, repeats), placement, described, nominal
        )
        self._set(
            measures=known.measures,
            steps=known.steps,
            patches=known.patches,
            curves=known.curves,
            notes=[*self._notes(), *known.notes],
        )
        tables = judge.tables_for(
            described.kind, self.given.facts, self.given.settings.targets.tables
        )
        self._set(judgements=[judge.judge(known.measures, name) for name in tables])
        self._set(plots=plots.write_all(self.out_dir, self.stem, described.kind, known))

    def _find(self, capture: Capture, described: Description) -> Placement:
        try:
            placement = find(capture, described)
        except NotFound as problem:
            preview = f"{self.stem}.seen.jpg"
            self._set(state="not found", preview=preview)
            plots.draw_seen(self.out_dir / preview, capture, problem.seen)
            raise GlassineError.because(
                "targets.not_found",
                self.target.path,
                f"The target {described.id} was not found: {problem}.",
                f"a capture of {described.title} as its description says.",
                f"Look at {preview}; capture the target again, or correct its description.",
            ) from problem
        preview = f"{self.stem}.found.jpg"
        plots.draw_found(self.out_dir / preview, capture, placement, described)
        self._set(preview=preview, found=_place(placement, described))
        return placement


# Stands in a result until the work on it is done.
_NO_EVENT = Event(type="quality review", time="", outcome="", detail={}, software={}, operator=None)


def _check_kind(target: GivenTarget, described: Description) -> None:
    stated = target.kind
    if stated and stated != described.kind:
        raise GlassineError.because(
            "targets.kind",
            target.path,
            f"batch.yaml calls this target {stated}, its description calls it {described.kind}.",
            "one and the same kind.",
            "Correct `kind` in batch.yaml, or name the right description.",
        )


def _description_path(batch_dir: Path, target: GivenTarget) -> Path:
    name = target.description
    if not name:
        raise GlassineError.because(
            "targets.description",
            target.path,
            "batch.yaml names no description for this target capture.",
            "`description: <file>.yaml` next to its `path`.",
            "Add the description (config/targets/README.md shows how).",
        )
    for folder in (batch_dir, description.SCHEMA_PATH.parent):
        try:
            path = inside(folder, name)
        except ValueError as problem:
            raise GlassineError.because(
                "targets.description", name, f"The description cannot be used: {problem}.",
                "a file inside the batch folder.",
                "Correct `description` in batch.yaml.",
            ) from problem  # fmt: skip
        # A pipe or a link of that name is for the reader to refuse, not to be passed over.
        if os.path.lexists(path):
            return path
    raise GlassineError.because(
        "targets.description",
        name,
        "This description of a target is neither in the batch folder nor in config/targets.",
        "a YAML file.",
        "Put it there, or correct its name in batch.yaml.",
    )


def _place(placement: Placement, described: Description) -> TargetPlace:
    scale = float(np.sqrt(abs(np.linalg.det(placement.scale(np.array(described.size_mm) / 2)))))
    rms, largest = placement.residual_px
    return TargetPlace(
        by=described.locate_by,
        seen=placement.seen,
        wanted=placement.wanted,
        residual_px=(rms, largest),
        residual_mm=(rms / scale, largest / scale),
        homography=placement.homography.tolist(),
        k1=placement.k1,
        tone_agreement=placement.tone_agreement,
        mirrored=placement.mirrored,
    )


def _nominal(target: GivenTarget, facts: Facts, capture: Capture) -> Nominal:
    if target.nominal_ppi:
        return Nominal(float(target.nominal_ppi), "batch.yaml, target")
    if facts.nominal_ppi:
        return Nominal(facts.nominal_ppi, "batch.yaml")
    tagged = capture.header.resolution
    if tagged and tagged.unit in ("in", "cm"):
        factor = 2.54 if tagged.unit == "cm" else 1.0
        return Nominal(tagged.x * factor, "resolution tag")
    return Nominal(None, "")


def _rounded(result: TargetResult) -> TargetResult:
    """Return a result with its floats rounded to 1e-6, and numpy's numbers as Python's."""
    values = plain(msgspec.to_builtins(result, enc_hook=_python_number))
    return msgspec.convert(values, TargetResult)


def _python_number(value: Any) -> Any:
    if isinstance(value, np.generic):
        return value.item()
    raise NotImplementedError(f"{type(value)} cannot stand in a record")


def _development(result: TargetResult) -> dict[str, Any]:
    """Return what the event says of raw captures, nothing where there are none."""
    if result.developed is UNSET:
        return {}
    return {"developed": [msgspec.to_builtins(each) for each in result.developed]}


def _event(result: TargetResult, given: TargetsGiven) -> Event:
    reached = {verdict.table: verdict.overall or "none" for verdict in result.judgements}
    event = events.event(
        "quality review",
        {
            "what": "capture target measured against tables of limits",
            "target": result.target,
            "capture": result.path,
            "description": result.described_by,
            "levels_reached": reached,
            "state": result.state,
            **_development(result),
            "step_version": given.version,
            "statement": judge.STATEMENT,
        },
        packages=PACKAGES,
        outcome="success" if result.state == "measured" else "failure",
        operator=given.facts.operator,
    )
    return msgspec.convert(event, Event)
