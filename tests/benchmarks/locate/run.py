"""Benchmark of finding frames: generated scenes with exact truth, beside two simple baselines.

    tests/benchmarks/run locate --count 40 --first 5000

Makers, written apart, draw the scenes (`--maker scenes`, `scenes_other`, `layouts_other`,
`studio`). Kinds are not stated unless `--stated`. The last result stands in the README beside this
file.
"""

from __future__ import annotations

import argparse
import importlib
import json
import math
import time
from dataclasses import asdict
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from benchmarks.locate import edges, score
from benchmarks.result import Outcome, Row
from glassine.base.errors import GlassineError
from glassine.base.model import Facts
from glassine.locate import locate_array
from glassine.masters.pixels import REDUCED_LONG_EDGE

KINDS = [
    "frame_135", "mounted_slide", "sheet", "plate", "lantern", "strip_135", "strip_120",
    "cut_frames", "print",
]  # fmt: skip
MAKERS = ("scenes", "scenes_other", "layouts", "layouts_other", "studio")
# The baseline's second form takes this share of the shorter side off each side, for mask or rebate.
INSET = 0.04


def scene_of(maker: str, kind: str, seed: int, kept: Path | None = None) -> dict[str, Any]:
    """Return a scene as a dict; `kept` is a folder that spares drawing it a second time."""
    path = kept / f"{maker}-{kind}-{seed}.npz" if kept else None
    if path is not None and path.exists():
        with np.load(path) as stored:
            scene: dict[str, Any] = json.loads(str(stored["scene"]))
            return {**scene, "pixels": stored["pixels"]}
    made = importlib.import_module(f"benchmarks.locate.{maker}").make(kind, seed)
    scene = made if isinstance(made, dict) else {**vars(made)}
    frames = [frame if isinstance(frame, dict) else asdict(frame) for frame in scene["frames"]]
    for frame in frames:
        frame["corners"] = np.asarray(frame["corners"]).tolist()
    told_ppi = scene.get("tag_ppi", scene["ppi"])
    scene = {key: scene[key] for key in ("kind", "name", "pixels", "encoding", "ppi")}
    scene |= {"frames": frames, "tag_ppi": told_ppi}
    if path is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
        told = json.dumps({key: scene[key] for key in scene if key != "pixels"})
        np.savez(path, pixels=scene["pixels"], scene=np.array(told))
    return scene


def reduced_of(pixels: np.ndarray) -> tuple[np.ndarray, int]:
    """Return the reduced copy as the step makes it: means of squares, and the squares' side."""
    n = max(1, math.ceil(max(pixels.shape[:2]) / REDUCED_LONG_EDGE))
    height, width = pixels.shape[0] // n, pixels.shape[1] // n
    whole = pixels[: height * n, : width * n]
    return cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA), n


def found_by_glassine(scene: dict[str, Any], stated: bool) -> tuple[list[dict[str, Any]], Any]:
    pixels = scene["pixels"]
    reduced, reduction = reduced_of(pixels)
    facts = Facts(encoding=scene["encoding"], kind=scene["kind"] if stated else "auto")
    geometry = locate_array(
        reduced,
        reduction,
        lambda left, top, width, height: pixels[top : top + height, left : left + width],
        facts,
        scene.get("tag_ppi", scene["ppi"]),
        {},
        size=(pixels.shape[1], pixels.shape[0]),
    )
    ppi = geometry.ppi if geometry.ppi_source == "perforations" else None
    return [asdict(frame) for frame in geometry.frames], ppi


def found_by_threshold(scene: dict[str, Any], inset: float) -> list[dict[str, Any]]:
    """What a short script does: Otsu's threshold, contours, rectangles of least area."""
    reduced, reduction = reduced_of(scene["pixels"])
    grey = reduced if reduced.ndim == 2 else reduced.mean(axis=2)
    grey = (grey / grey.max() * 255).astype(np.uint8)
    _, mask = cv2.threshold(grey, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    if np.mean([mask[0].mean(), mask[-1].mean(), mask[:, 0].mean(), mask[:, -1].mean()]) > 127:
        mask = 255 - mask
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    frames = []
    for contour in contours:
        if cv2.contourArea(contour) < 0.02 * mask.size:
            continue
        (x, y), (w, h), angle = cv2.minAreaRect(contour)
        taken = 2 * inset * min(w, h)
        box = cv2.boxPoints(((x, y), (w - taken, h - taken), angle)) * reduction
        start = int(np.argmin(box.sum(axis=1)))
        box = np.roll(box, -start, axis=0)
        frames.append(
            {"corners": box, "state": "ok", "confidence": 1.0, "blank": False,
             "polarity": None, "process": None, "reasons": []}
        )  # fmt: skip
    return frames


BANDS = ((0, 0.3), (0.3, 0.6), (0.6, 0.8), (0.8, 0.9), (0.9, 0.97), (0.97, 1.01))


def reliability(results: list[score.Result]) -> list[tuple[str, float, int, float]]:
    """Return per band of confidence: its name, mean confidence, frames, share of right ones."""
    confidence = np.array([value for result in results for value in result.confidence])
    right = np.array([error <= 1 for result in results for error in result.corner])
    found = []
    for low, high in BANDS:
        chosen = (confidence >= low) & (confidence < high)
        if chosen.any():
            name = f"{low:.2f} to {min(high, 1):.2f}"
            count = int(chosen.sum())
            found.append(
                (name, float(confidence[chosen].mean()), count, float(right[chosen].mean()))
            )
    return found


def reliability_table(results: list[score.Result]) -> str:
    lines = ["confidence    mean   frames  right"]
    for name, mean, count, share in reliability(results):
        lines.append(f"{name}  {mean:.3f}  {count:6}  {100 * share:5.1f} %")
    return "\n".join(lines)


def reliability_plot(results: list[score.Result]) -> str:
    """Return an SVG: confidence across, the share that is right up, a circle's area the number."""

    def across(value: float) -> float:
        return 60 + 320 * value

    def up(value: float) -> float:
        return 350 - 320 * value

    parts = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 420 400" font-family="sans-serif" '
        'font-size="12">',
        '<rect width="420" height="400" fill="white"/>',
        f'<path d="M{across(0)} {up(0)}H{across(1)}V{up(1)}H{across(0)}Z" fill="none" '
        'stroke="black"/>',
        f'<path d="M{across(0)} {up(0)}L{across(1)} {up(1)}" stroke="gray" '
        'stroke-dasharray="4 4"/>',
        f'<text x="{across(0.5)}" y="390" text-anchor="middle">confidence</text>',
        f'<text x="16" y="{up(0.5)}" transform="rotate(-90 16 {up(0.5)})" '
        'text-anchor="middle">share of frames that are right</text>',
    ]
    for tick in (0, 0.2, 0.4, 0.6, 0.8, 1):
        parts.append(f'<text x="{across(tick)}" y="366" text-anchor="middle">{tick}</text>')
        parts.append(f'<text x="52" y="{up(tick) + 4}" text-anchor="end">{tick}</text>')
    for _, mean, count, share in reliability(results):
        radius = 3 + 2 * np.log10(count)
        parts.append(
            f'<circle cx="{across(mean):.1f}" cy="{up(share):.1f}" r="{radius:.1f}" '
            'fill="steelblue" fill-opacity="0.7"/>'
        )
        parts.append(
            f'<text x="{across(mean) - 10:.1f}" y="{up(share) + 20:.1f}" '
            f'text-anchor="end">{count}</text>'
        )
    return "\n".join([*parts, "</svg>"]) + "\n"


def options_of(arguments: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--maker", default="scenes", choices=MAKERS)
    parser.add_argument("--kinds", nargs="*", help="all of the maker's, where not said")
    parser.add_argument("--count", type=int, default=40, help="scenes of each kind")
    parser.add_argument("--first", type=int, default=5000, help="the first seed")
    parser.add_argument("--stated", action="store_true", help="tell the kind")
    parser.add_argument("--minutes", type=float, help="start no further scene after these")
    parser.add_argument("--drawn", type=Path, help="folder of drawn scenes, for another run")
    parser.add_argument("--plot", type=Path, help="where to write the reliability plot (SVG)")
    parser.add_argument("--check", action="store_true", help="measure the maker's own edges alone")
    options = parser.parse_args(arguments)
    if options.check and options.maker != "layouts_other":
        parser.error("--check is for --maker layouts_other")
    options.kinds = options.kinds or kinds_of(options.maker)
    return options


def kinds_of(maker: str) -> list[str]:
    """Return what a maker draws: its own KINDS, else those of the first two makers."""
    return list(getattr(importlib.import_module(f"benchmarks.locate.{maker}"), "KINDS", KINDS))


def judged(kind: str, scene: dict[str, Any], stated: bool) -> score.Result:
    """Return what was found beside the truth; a crash or a refusal is a result as well."""
    name, truth = scene["name"], scene["frames"]
    try:
        frames, ppi = found_by_glassine(scene, stated)
    except GlassineError as refusal:
        return score.failed(kind, name, truth, f"held: {refusal}", crashed=False)
    except Exception as problem:  # whatever a capture may cause is counted, not an end of the run
        text = f"CRASHED: {type(problem).__name__}: {problem}"
        return score.failed(kind, name, truth, text, crashed=True)
    return score.compare(kind, name, truth, frames, ppi, scene["ppi"])


def main(arguments: list[str]) -> Outcome:
    options = options_of(arguments)
    cv2.setNumThreads(1)
    if options.check:
        return edges.checked(options.kinds, range(options.first, options.first + options.count))
    ours: list[score.Result] = []
    plain: list[score.Result] = []
    inset: list[score.Result] = []
    begun = time.monotonic()
    seeds = range(options.first, options.first + options.count)
    # Kinds in turn, so that a run cut short has as many of each.
    for seed, kind in ((seed, kind) for seed in seeds for kind in options.kinds):
        if options.minutes and time.monotonic() - begun > 60 * options.minutes:
            print(f"stopped by the clock before seed {seed} of {kind}")
            break
        scene = scene_of(options.maker, kind, seed, options.drawn)
        name, truth = scene["name"], scene["frames"]
        started = time.process_time()
        result = judged(kind, scene, options.stated)
        result.seconds = time.process_time() - started
        ours.append(result)
        for remark in result.remarks:
            print(f"{name}: {remark}", flush=True)
        plain.append(score.compare(kind, name, truth, found_by_threshold(scene, 0)))
        inset.append(score.compare(kind, name, truth, found_by_threshold(scene, INSET)))
    print(f"scenes: {len(ours)}")
    print(score.summary(ours, options.kinds))
    errors = [result.ppi_error for result in ours if result.ppi_error is not None]
    if errors:
        print(f"ppi from perforations: worst {max(errors):.3f} % of {len(errors)} masters")
    print(f"seconds of processor a scene: {np.mean([result.seconds for result in ours]):.2f}")
    print(reliability_table(ours))
    if options.plot:
        options.plot.write_text(reliability_plot(ours), encoding="utf-8")
    print("baseline, plain\n" + score.summary(plain, options.kinds))
    print("baseline, with a fixed inset\n" + score.summary(inset, options.kinds))
    rows: list[Row] = []
    for who, results in (("ours", ours), ("threshold", plain), ("with inset", inset)):
        scored = score.rows(results, options.kinds)
        rows += [{"frames": f"{who}, {row.pop('kind')}", **row} for row in scored]
    for name, mean, count, share in reliability(ours):
        rows.append(
            {
                "frames": f"ours, confidence {name}",
                "mean_confidence": round(mean, 3),
                "found": count,
                "right_percent": round(100 * share, 1),
            }
        )
    rows.append(
        {
            "frames": "ours, a scene",
            "processor_s": round(float(np.mean([result.seconds for result in ours])), 2),
            "ppi_worst_percent": round(max(errors), 3) if errors else None,
        }
    )
    return Outcome(rows)
