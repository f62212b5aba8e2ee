"""Benchmark of finding frames: generated scenes with exact truth, beside two simple baselines.

    PYTHONPATH=scripts:tests .venv/bin/python -m bench_locate.run --count 40 --first 5000

Two makers, written apart, draw the scenes (`--maker scenes` and `--maker scenes_other`). Kinds are
not stated unless `--stated`. The last result stands in the README beside this file.
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

from bench_locate import score
from glassine.locate import locate_array
from glassine.model import Facts
from glassine.pixels import REDUCED_LONG_EDGE

KINDS = [
    "frame_135", "mounted_slide", "sheet", "plate", "lantern", "strip_135", "strip_120",
    "cut_frames", "print",
]  # fmt: skip
# The baseline's second form takes this share of the shorter side off each side, for mask or rebate.
INSET = 0.04


def scene_of(maker: str, kind: str, seed: int, kept: Path | None = None) -> dict[str, Any]:
    """Return a scene as a dict; `kept` is a folder that spares drawing it a second time."""
    path = kept / f"{maker}-{kind}-{seed}.npz" if kept else None
    if path is not None and path.exists():
        with np.load(path) as stored:
            scene: dict[str, Any] = json.loads(str(stored["scene"]))
            return {**scene, "pixels": stored["pixels"]}
    made = importlib.import_module(f"bench_locate.{maker}").make(kind, seed)
    scene = made if isinstance(made, dict) else {**vars(made)}
    frames = [frame if isinstance(frame, dict) else asdict(frame) for frame in scene["frames"]]
    for frame in frames:
        frame["corners"] = np.asarray(frame["corners"]).tolist()
    scene = {key: scene[key] for key in ("kind", "name", "pixels", "encoding", "ppi")}
    scene["frames"] = frames
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
        scene["ppi"],
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


def reliability(results: list[score.Result]) -> str:
    """Return the share of right frames in bands of confidence: what confidence is worth."""
    confidence = np.array([value for result in results for value in result.confidence])
    right = np.array([error <= 1 for result in results for error in result.corner])
    lines = ["confidence    frames  right"]
    for low, high in ((0, 0.3), (0.3, 0.6), (0.6, 0.8), (0.8, 0.9), (0.9, 0.97), (0.97, 1.01)):
        chosen = (confidence >= low) & (confidence < high)
        if chosen.any():
            share = 100 * right[chosen].mean()
            lines.append(f"{low:.2f} to {min(high, 1):.2f}  {chosen.sum():6}  {share:5.1f} %")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--maker", default="scenes", choices=["scenes", "scenes_other"])
    parser.add_argument("--kinds", nargs="*", default=KINDS)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--first", type=int, default=5000)
    parser.add_argument("--stated", action="store_true", help="tell the kind")
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    ours: list[score.Result] = []
    plain: list[score.Result] = []
    inset: list[score.Result] = []
    for kind in arguments.kinds:
        for seed in range(arguments.first, arguments.first + arguments.count):
            scene = scene_of(arguments.maker, kind, seed)
            started = time.process_time()
            frames, ppi = found_by_glassine(scene, arguments.stated)
            name, truth = scene["name"], scene["frames"]
            result = score.compare(kind, name, truth, frames, ppi, scene["ppi"])
            result.seconds = time.process_time() - started
            ours.append(result)
            for remark in result.remarks:
                print(f"{name}: {remark}", flush=True)
            plain.append(score.compare(kind, name, truth, found_by_threshold(scene, 0)))
            inset.append(score.compare(kind, name, truth, found_by_threshold(scene, INSET)))
    print(score.summary(ours))
    errors = [result.ppi_error for result in ours if result.ppi_error is not None]
    if errors:
        print(f"ppi from perforations: worst {max(errors):.3f} % of {len(errors)} strips")
    print(f"seconds of processor a scene: {np.mean([result.seconds for result in ours]):.2f}")
    print(reliability(ours))
    print("baseline, plain\n" + score.summary(plain))
    print("baseline, with a fixed inset\n" + score.summary(inset))


if __name__ == "__main__":
    main()
