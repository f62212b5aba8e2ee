"""Tell a studio how often its own frames were found right, and propose `locate.review_below`.

It reads what the nights left (`results/<batch>/items/*/geometry.json`) and corrections.yaml, and
writes nothing but the plot that is asked for. No setting is changed: a person does that.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import msgspec

from glassine.base import corrections, files, folders, record_files, settings, svg
from glassine.base.errors import GlassineError
from glassine.base.model import ItemId, plain
from glassine.base.records.corrections import Correction
from glassine.review import frame_scores
from glassine.review.frame_scores import Decision, JudgedMaster

# So many frames are named one by one; of further ones the number is told.
_MAX_NAMED = 20
_PLANE = svg.Plane(440, 420, left=60, right=20, top=40, bottom=50)


@dataclass
class Gathered:
    """All masters of some batches.

    waiting: items whose decisions no night has applied yet; alone: batches whose folder of masters
    is not here, with what was decided in it since; unread: what could not be read, in words.
    """

    masters: list[JudgedMaster] = field(default_factory=list)
    waiting: list[str] = field(default_factory=list)
    alone: list[str] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)

    @property
    def decisions(self) -> list[Decision]:
        return [each for master in self.masters for each in master.decisions]

    @property
    def sample(self) -> list[Decision]:
        """Decisions of masters whose frames were all decided about."""
        return [each for master in self.masters if master.whole for each in master.decisions]


def gather(found: Gathered, results: Path, batch_dir: Path, review_below: float) -> None:
    """Add what stands of a batch. Raises GlassineError for a damaged corrections.yaml.

    results: `results/<batch>/`; batch_dir: its folder of masters, which may have been moved away.
    """
    batch = results.name
    standing: dict[ItemId, Correction] | None = None
    if os.path.isdir(batch_dir):  # noqa: PTH112 - says no where there is no right to look
        path = batch_dir / corrections.FILE_NAME
        standing = corrections.read(path).corrections if os.path.lexists(path) else {}
    else:
        found.alone.append(batch)
    for path in sorted((results / "items").glob("*/geometry.json")):
        try:
            geometry = record_files.read(path, "geometry")
        except GlassineError as problem:
            found.unread += [finding.sentence() for finding in problem.findings]
            continue
        if standing is not None and _frames(standing.get(geometry["item"])) != _applied(geometry):
            found.waiting.append(f"{batch}, {geometry['item']}")
            continue
        found.masters += frame_scores.judged(geometry, review_below)


def _frames(correction: Correction | None) -> list[object]:
    return _as_recorded(msgspec.to_builtins(correction.frames) if correction else [])


def _as_recorded(entries: list[object]) -> list[object]:
    frames: list[object] = plain(entries)  # numbers have six digits behind the point there
    return frames


def _applied(geometry: dict[str, object]) -> list[object]:
    """Return the decisions about frames that the record was made with."""
    event = geometry["event"]
    detail = event.get("detail") if isinstance(event, dict) else None
    return _as_recorded(((detail or {}).get("corrections") or {}).get("frames") or [])


# ------------------------------------------------------------------ what is printed


def _table(lines: list[list[str]]) -> list[str]:
    wide = [max(map(len, column)) for column in zip(*lines, strict=True)]
    return [
        "  ".join(
            cell.ljust(width) if not place else cell.rjust(width)
            for place, (cell, width) in enumerate(zip(line, wide, strict=True))
        ).rstrip()
        for line in lines
    ]


_COLUMNS = (
    "kind", "masters", "decided", "right, unmarked", "right, marked", "wrong, marked",
    "wrong, unmarked", "lost, marked", "lost, unmarked", "extra, marked", "extra, unmarked",
    "not decided",
)  # fmt: skip


def by_kind(masters: Sequence[JudgedMaster]) -> list[str]:
    """Return a table: a line for each kind of master, and one of all."""
    kinds = sorted({master.kind for master in masters})
    lines = [list(_COLUMNS)]
    for kind in [*kinds, *(["all"] if len(kinds) != 1 else [])]:
        held = [master for master in masters if kind in ("all", master.kind)]
        decided = [each for master in held for each in master.decisions]
        count = {
            (result, marked): sum(
                (each.result, each.marked) == (result, marked) for each in decided
            )
            for result in ("right", "wrong", "lost", "extra")
            for marked in (False, True)
        }
        left = sum(master.left for master in held)
        numbers = [
            len(held), len(decided), count["right", False], count["right", True],
            count["wrong", True], count["wrong", False], count["lost", True],
            count["lost", False], count["extra", True], count["extra", False], left,
        ]  # fmt: skip
        lines.append([kind, *map(str, numbers)])
    return _table(lines)


def _share(count: int, of: int) -> str:
    low, high = frame_scores.wilson(count, of)
    return f"{100 * count / of:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def reliability(decisions: Sequence[Decision]) -> list[str]:
    lines = [["confidence", "mean", "frames", "right (95 % interval)"]]
    for band in frame_scores.bands(decisions):
        share = _share(band.right, band.count)
        lines.append([band.name, f"{band.mean:.3f}", str(band.count), share])
    return _table(lines)


def _unmarked(decisions: Sequence[Decision]) -> list[str]:
    wrong = [each for each in decisions if not each.good and not each.marked]
    if not wrong:
        return []
    lines = ["", f"Wrong, and nobody was asked ({len(wrong)}):"]
    for each in wrong[:_MAX_NAMED]:
        sure = "" if each.confidence is None else f", confidence {each.confidence:.3f}"
        lines.append(f"  {each.item}, {each.master}, frame {each.frame}: {each.why}{sure}")
    if len(wrong) > _MAX_NAMED:
        lines.append(f"  and {len(wrong) - _MAX_NAMED} more")
    return lines


def advice(found: Gathered, wanted: float, review_below: float) -> list[str]:
    """Return what can be said of `locate.review_below`; wanted: a share."""
    sample = [each for each in found.sample if each.confidence is not None]
    now = frame_scores.threshold(sample, review_below)
    least = frame_scores.needed_without_error(wanted)
    lines = [
        f"Masters of which each frame was decided: {sum(m.whole for m in found.masters)}; frames "
        f"found on them: {len(sample)}. Only these count below: elsewhere a person corrects what "
        "is wrong and leaves alone what is right, so the finder looks worse than it is.",
    ]
    if now.passed:
        lines.append(
            f"At `locate.review_below` {review_below:g}, {now.passed} of them pass unmarked; wrong "
            f"are {now.wrong}: {_share(now.wrong, now.passed)}."
        )
    lost = sum(each.result == "lost" and not each.marked for each in found.sample)
    if lost:
        lines.append(
            f"Lost and unmarked besides: {lost}. What was not found has no confidence, so no value "
            "of the setting brings it to review."
        )
    if len(sample) < least:
        lines.append(
            f"Too few to say anything: at least {least} decided frames, none of them wrong, are "
            f"needed to show that fewer than {100 * wanted:g} % are wrong (95 % confidence). Look "
            "at whole masters as they come, and accept what is right."
        )
        return lines
    best = frame_scores.proposal(sample, wanted)
    if best is None:
        highest = frame_scores.threshold(sample, frame_scores.PROPOSED[-1])
        lines.append(
            f"No value up to {highest.value:g} shows that fewer than {100 * wanted:g} % pass "
            f"wrongly: at {highest.value:g}, {highest.wrong} of {highest.passed} would "
            f"(at most {100 * highest.high:.1f} %). Raising the setting does not help; see the "
            "frames above."
        )
        return lines
    lines.append(
        f"Proposed: `locate.review_below: {best.value:g}`. Of {best.passed} frames that would have "
        f"passed, {best.wrong} were wrong (at most {100 * best.high:.1f} %, 95 % confidence); "
        f"a person would have been asked about {best.asked}, of which {best.asked_right} were "
        "right. It was chosen on these same frames: look again when others were decided. Nothing "
        "was changed; the setting is yours to change."
    )
    return lines


def text(found: Gathered, wanted: float, review_below: float) -> str:
    lines = by_kind(found.masters) + _unmarked(found.decisions)
    if found.sample:
        lines += ["", "Of masters of which each frame was decided:", *reliability(found.sample)]
    lines += ["", *advice(found, wanted, review_below)]
    unknown = sum(master.unknown for master in found.masters)
    if unknown:
        lines.append(
            f"{unknown} decided frames are left out: their records were made before what was "
            "measured was kept beside a decision. The next night's run makes them anew."
        )
    renumbered = [f"{each.item}, {each.path}" for each in found.masters if each.renumbered]
    if renumbered:
        lines.append(
            "Left out, as the numbers of their decisions now stand for other frames than those "
            f"that were drawn ({len(renumbered)}): {'; '.join(renumbered[:_MAX_NAMED])}. Look at "
            "these masters again: what was decided there without corners may hold another frame."
        )
    if found.waiting:
        lines.append(
            f"Left out, as no night has applied their decisions yet ({len(found.waiting)}): "
            f"{'; '.join(found.waiting[:_MAX_NAMED])}"
            f"{' and more' if len(found.waiting) > _MAX_NAMED else ''}. Run `scripts/nightly`."
        )
    if found.alone:
        lines.append(
            f"The folder of masters is not here, nor what was decided in it since the last night: "
            f"{', '.join(found.alone)}."
        )
    lines += [f"Not read: {problem}" for problem in found.unread]
    return "\n".join(lines) + "\n"


def plot(decisions: Sequence[Decision]) -> str:
    """Return an SVG: confidence across, the share that is right up, with its 95 % interval."""
    plane, parts = _PLANE, []
    for value in svg.ticks(0, 1):
        x, y = plane.across(value), plane.up(value)
        parts += [
            svg.tag("path", d=f"M{x:.1f} {plane.foot}V{plane.top}", stroke="#dddddd"),
            svg.tag("path", d=f"M{plane.left} {y:.1f}H{plane.end}", stroke="#dddddd"),
            svg.text(f"{value:g}", x=f"{x:.1f}", y=plane.foot + 18, text_anchor="middle"),
            svg.text(f"{value:g}", x=plane.left - 6, y=f"{y + 4:.1f}", text_anchor="end"),
        ]
    line = f"M{plane.left} {plane.foot}L{plane.end} {plane.top}"
    parts.append(svg.tag("path", d=line, stroke="#888888", stroke_dasharray="4 4"))
    for band in frame_scores.bands(decisions):
        x, y = plane.across(band.mean), plane.up(band.right / band.count)
        between = f"M{x:.1f} {plane.up(band.low):.1f}V{plane.up(band.high):.1f}"
        told = f"{band.name}: {band.right} of {band.count} right"
        parts.append(svg.tag("path", d=between, stroke="#0072b2", stroke_width=2))
        parts.append(
            svg.tag("circle", svg.title(told), cx=f"{x:.1f}", cy=f"{y:.1f}", r=5, fill="#0072b2")
        )
        parts.append(
            svg.text(str(band.count), x=f"{x - 9:.1f}", y=f"{y + 16:.1f}", text_anchor="end")
        )
    middle = (plane.left + plane.end) / 2
    named = "Frames found right, by their confidence"
    parts += [
        svg.text(named, x=plane.left, y=22, font_size=14),
        svg.text("confidence", x=middle, y=plane.height - 10, text_anchor="middle"),
        svg.text(
            "share that is right, with 95 % interval",
            transform=f"translate(16 {(plane.top + plane.foot) / 2}) rotate(-90)",
            text_anchor="middle",
        ),
    ]
    ground = svg.tag("rect", width=plane.width, height=plane.height, fill="#ffffff")
    return svg.tag(
        "svg",
        svg.title(named) + ground + "".join(parts),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {plane.width} {plane.height}",
        role="img",
        font_family="sans-serif",
        font_size=12,
    )


# ------------------------------------------------------------------ the command


def _batches(results: Path, named: list[str]) -> list[str]:
    """Return the batches to score. Raises GlassineError for a name that has no results."""
    there = sorted(path.parent.name for path in results.glob("*/items") if path.is_dir())
    for name in named:
        if name not in there:
            raise GlassineError.because(
                "review.no_results",
                name,
                "There are no results of this batch.",
                f"one of: {', '.join(there) or 'none is there'}.",
                "Correct the name, or the folder after --directory.",
            )
    if not there:
        raise GlassineError.because(
            "review.no_results",
            results,
            "No batch has results here.",
            "what a run has left.",
            "Run `scripts/nightly` first, or name its folder after --directory.",
        )
    return named or there


def _percent(given: str) -> float:
    value = float(given)
    if not math.isfinite(value) or not 0 < value < 100:
        raise ValueError
    return value


def main(arguments: list[str] | None = None) -> int:
    """Print the scores; return the exit code: 0, or 2 where there is nothing to score."""
    parser = argparse.ArgumentParser(
        prog="scripts/score_frames.py",
        description="Tell how often frames were found right, by what a person decided about them.",
    )
    parser.add_argument("batch", nargs="*", help="names of batches; else all that have results")
    parser.add_argument("--directory", default=".", help="the folder that holds `results`")
    parser.add_argument("--configfile", action="append", default=[], help="as scripts/nightly has")
    parser.add_argument(
        "--wanted",
        type=_percent,
        default=1.0,
        metavar="PERCENT",
        help="how many of the frames that nobody is asked about may be wrong (default: 1)",
    )
    parser.add_argument("--plot", type=Path, metavar="FILE.svg", help="where to draw the plot")
    given = parser.parse_args(arguments)
    try:
        stated = settings.stated(given.configfile)
        config = settings.load(stated, settings.named(given.configfile))
        working_dir = Path(given.directory).resolve()
        below = float(config["locate"]["review_below"])
        masters = folders.masters_place(config["masters"], working_dir)
        found = Gathered()
        for batch in _batches(working_dir / "results", given.batch):
            gather(found, working_dir / "results" / batch, masters / batch, below)
    except GlassineError as error:
        sys.stderr.write("".join(f"{finding.sentence()}\n" for finding in error.findings))
        return 2
    sys.stdout.write(text(found, given.wanted / 100, below))
    return _drawn(given.plot, found.sample) if given.plot else 0


def _drawn(path: Path, sample: list[Decision]) -> int:
    if not frame_scores.bands(sample):
        sys.stdout.write("No plot: there is no master of which each frame was decided.\n")
        return 0
    try:
        files.write_text(path, plot(sample))
    except OSError as problem:
        sys.stderr.write(f"{path} cannot be written: {problem.strerror}. Name another place.\n")
        return 2
    sys.stdout.write(f"Plot: {path}\n")
    return 0
