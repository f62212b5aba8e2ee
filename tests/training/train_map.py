"""Train the learned map of a master, and write its ONNX file and the record of how it was made.

    PYTHONPATH=scripts:tests python -m training.train_map --out FOLDER --minutes 9

Needs torch, onnx, scikit-image, OpenCV and numpy, in an environment of its own: a night needs
none of them but OpenCV. Scenes are drawn all the while by other processes and kept; training goes
on by the clock, so that a second run gives another file, about as good.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import platform
import queue
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import onnx
import torch
from torch.nn import functional

from training import scenes
from training.network import Map, written
from training.views import Pool

DRAWN_AT_ONCE = 8
IGNORED = 7
WEIGHTS = (1.0, 1.0, 1.5, 1.0, 1.5, 1.0)
# Share of the time in floating point; the rest is on the grid.
FLOATING = 0.68


def draw_for_ever(number: int, seed: int, out: Any, stop: Any) -> None:
    """Draw batches of scenes until told to stop."""
    os.nice(5)
    torch.set_num_threads(1)
    cv2.setNumThreads(1)
    pool = Pool(seed * 1000 + number)
    count = 0
    while not stop.is_set():
        size = (number + count) % len(scenes.SIZES)
        tones, labels = scenes.batch(
            (seed * 1000 + number) * 100_000 + count, pool, scenes.SIZES[size], DRAWN_AT_ONCE
        )
        out.put((size, tones, labels))
        count += 1


class Kept:
    """Scenes that were drawn, by size, on the device."""

    def __init__(self, device: torch.device, most: int) -> None:
        self.device, self.most = device, most
        self.tones = [
            torch.empty((most, 3, h, w), dtype=torch.int16, device=device) for h, w in scenes.SIZES
        ]
        self.labels = [
            torch.empty((most, h, w), dtype=torch.uint8, device=device) for h, w in scenes.SIZES
        ]
        self.count = [0] * len(scenes.SIZES)

    def add(self, size: int, tones: Any, labels: Any) -> None:
        t = torch.from_numpy(tones.astype(np.int16)).permute(0, 3, 1, 2)
        for k in range(len(t)):
            at = self.count[size] % self.most
            self.tones[size][at].copy_(t[k])
            self.labels[size][at].copy_(torch.from_numpy(labels[k]))
            self.count[size] += 1

    def take(self, n: int) -> tuple[torch.Tensor, torch.Tensor]:
        """Return n scenes of one size, turned and mirrored at random."""
        size = int(np.random.choice([k for k, c in enumerate(self.count) if c]))
        index = torch.randint(min(self.count[size], self.most), (n,), device=self.device)
        x, y = self.tones[size][index].float(), self.labels[size][index]
        if torch.rand(()) < 0.5:
            x, y = x.transpose(2, 3), y.transpose(1, 2)
        for axis in (2, 3):
            if torch.rand(()) < 0.5:
                x, y = x.flip(axis), y.flip(axis - 1)
        return varied(x), y


def varied(x: torch.Tensor) -> torch.Tensor:
    """Return tones under another contrast, lamp and noise, in whole steps again."""
    n, d = len(x), x.device

    def some(share: float) -> torch.Tensor:
        return (torch.rand((n, 1, 1, 1), device=d) < share).float()

    x = x * (1 + some(0.4) * (torch.rand((n, 1, 1, 1), device=d) - 0.5) * 0.6)
    x = x + some(0.3) * torch.randn((n, 3, 1, 1), device=d) * 25
    grey = some(0.15)
    x = x * (1 - grey) + x.mean(1, keepdim=True) * grey
    mirrored = some(0.3)
    x = x * (1 - mirrored) + x.flip(1) * mirrored
    x = x + torch.randn_like(x) * torch.rand((n, 1, 1, 1), device=d) * 6
    return torch.clamp(torch.round(x), 0, scenes.GREATEST)


def loss_of(out: torch.Tensor, labels: torch.Tensor, weights: torch.Tensor) -> torch.Tensor:
    kind, edge = (labels & 127).long(), (labels >> 7).float()
    known = (kind != IGNORED).float()
    classes = functional.cross_entropy(out[:, :-1], kind, weights, ignore_index=IGNORED)
    score = out[:, -1]
    each = functional.binary_cross_entropy_with_logits(
        score, edge, reduction="none", pos_weight=torch.tensor(2.0, device=out.device)
    )
    p = torch.sigmoid(score) * known
    overlap = 1 - (2 * (p * edge).sum() + 1) / (p.sum() + edge.sum() + 1)
    return classes + (each * known).mean() * 2 + 0.3 * overlap


def measured(model: Map, device: torch.device, seed: int, count: int) -> dict[str, Any]:
    """Return the IoU of each class and how well edges are met, on scenes with other pictures."""
    pool = Pool(seed, apart=True)
    model.eval()
    table = np.zeros((len(scenes.CLASSES),) * 2)
    edges: list[int] = [0, 0, 0, 0]
    box = np.ones((3, 3), np.uint8)
    for k in range(count):
        rng = np.random.default_rng(seed + k)
        made = scenes.scene(rng, pool, scenes.SIZES[k % len(scenes.SIZES)])
        x = torch.from_numpy(made.tone.astype(np.float32)).permute(2, 0, 1)[None].to(device)
        with torch.no_grad():
            out = model(x)[0].float().cpu().numpy()
        best, known = out[:-1].argmax(0), made.kind != scenes.IGNORED
        table += np.bincount(
            made.kind[known].astype(int) * len(table) + best[known], minlength=table.size
        ).reshape(table.shape)
        met = (out[-1] > 0).astype(np.uint8)
        edges[0] += int((met & cv2.dilate(made.edge, box)).sum())
        edges[1] += int(met.sum())
        edges[2] += int((made.edge & cv2.dilate(met, box)).sum())
        edges[3] += int(made.edge.sum())
    iou = np.diag(table) / np.maximum(table.sum(0) + table.sum(1) - np.diag(table), 1)
    return {
        "iou": {name: round(float(v), 4) for name, v in zip(scenes.CLASSES, iou, strict=True)},
        "edge_precision": round(edges[0] / max(edges[1], 1), 4),
        "edge_recall": round(edges[2] / max(edges[3], 1), 4),
        "scenes": count,
    }


def options_of() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=9.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=max(1, (os.cpu_count() or 2) - 2))
    parser.add_argument("--batch", type=int, default=32)
    parser.add_argument("--kept", type=int, default=12_000, help="scenes of each size in memory")
    parser.add_argument("--measured", type=int, default=400, help="scenes for measuring")
    return parser.parse_args()


def main() -> None:
    o = options_of()
    o.out.mkdir(parents=True, exist_ok=True)
    begun = time.monotonic()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(o.seed)
    np.random.seed(o.seed)
    context = multiprocessing.get_context("spawn")
    drawn: Any = context.Queue(maxsize=o.processes * 2)
    stop = context.Event()
    workers = [
        context.Process(target=draw_for_ever, args=(k, o.seed, drawn, stop), daemon=True)
        for k in range(o.processes)
    ]
    for worker in workers:
        worker.start()
    kept = Kept(device, o.kept)
    model = Map().to(device).to(memory_format=torch.channels_last)
    weights = torch.tensor(WEIGHTS, device=device)
    total = 60 * o.minutes
    optimiser = torch.optim.AdamW(model.parameters(), lr=2e-3, weight_decay=1e-2)
    steps, losses, exact = 0, [], False
    while sum(kept.count) < 8 * DRAWN_AT_ONCE:
        kept.add(*drawn.get())
    while (spent := time.monotonic() - begun) < total:
        while True:
            try:
                kept.add(*drawn.get_nowait())
            except queue.Empty:
                break
        share = spent / total
        if not exact and share > FLOATING:
            model.eval()
            model.fold()
            model.to(memory_format=torch.channels_last)
            exact = True
            optimiser = torch.optim.AdamW(model.parameters(), lr=3e-4, weight_decay=0)
            print(f"on the grid after {steps} steps, {sum(kept.count)} scenes", flush=True)
        within = (share - FLOATING) / (1 - FLOATING) if exact else share / FLOATING
        top = 4e-4 if exact else 2.5e-3
        for group in optimiser.param_groups:
            group["lr"] = top * min(1.0, steps / 200) * (0.5 + 0.5 * np.cos(np.pi * within)) + 1e-6
        model.train(not exact)
        x, y = kept.take(o.batch)
        x = x.contiguous(memory_format=torch.channels_last)
        with torch.autocast(
            device.type, torch.bfloat16, enabled=not exact and device.type == "cuda"
        ):
            out = model(x)
        loss = loss_of(out.float(), y, weights)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimiser.step()
        steps += 1
        losses.append(loss.detach())
        if steps % 250 == 0:
            mean = float(torch.stack(losses[-250:]).mean())
            print(
                f"{spent:6.0f} s, step {steps}, loss {mean:.4f}, scenes {sum(kept.count)}",
                flush=True,
            )
    stop.set()
    for worker in workers:
        worker.terminate()
    finish(o, model, device, steps, sum(kept.count))


def finish(o: argparse.Namespace, model: Map, device: torch.device, steps: int, count: int) -> None:
    """Write map.onnx, weights.pt and map.json."""
    data, reach = written(model)
    (o.out / "map.onnx").write_bytes(data)
    torch.save(model.state_dict(), o.out / "weights.pt")
    record = {
        "date": time.strftime("%Y-%m-%d", time.gmtime()),
        "seed": o.seed,
        "minutes": o.minutes,
        "steps": steps,
        "batch": o.batch,
        "scenes": count,
        "versions": {
            "python": platform.python_version(), "torch": torch.__version__, "onnx": onnx.__version__,
            "numpy": np.__version__, "opencv": cv2.__version__,
        },
        "reach": reach,
        "same_as_trained": difference(data, model, device),
        "measured": measured(model, device, 900_000 + o.seed, o.measured),
    }  # fmt: skip
    (o.out / "map.json").write_text(json.dumps(record, indent=2) + "\n", encoding="utf-8")
    print(json.dumps(record, indent=2), flush=True)


def difference(data: bytes, model: Map, device: torch.device) -> float:
    """Return the greatest difference between the file, run by OpenCV, and the model as trained."""
    net = cv2.dnn.readNetFromONNX(np.frombuffer(data, np.uint8))
    x = (
        np.random.default_rng(0)
        .integers(0, scenes.GREATEST + 1, (1, 3, 128, 192))
        .astype(np.float32)
    )
    net.setInput(x)
    theirs = net.forward()
    model.eval()
    torch.backends.cudnn.allow_tf32 = False
    with torch.no_grad():
        ours = model(torch.from_numpy(x).to(device)).cpu().numpy() * 32
    return float(np.abs(ours - theirs).max())


if __name__ == "__main__":
    main()
