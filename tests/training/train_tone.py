"""Train the tone network, and write its weights and the record of how it was made.

    PYTHONPATH=scripts:tests python -m training.train_tone --pictures pictures.npz --out FOLDER

Needs torch and Pillow, in an environment of its own. pictures.npz is made by tone_pictures.py.
Films are drawn all the while on the device; training goes on by the clock.
"""

from __future__ import annotations

import argparse
import io
import json
import math
import platform
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import torch
from PIL import Image

from training import tone_network as network
from training.tone_film import Pictures, Shown, Studio

# Batches that are kept, and how often each is used.
KEPT, USES, PLACES = 160, 4, 1200
FRAMES = (1, 1, 2, 3, 4, 6, 6, 6, 6, 8)


def photographs(path: Path) -> tuple[list[torch.Tensor], list[torch.Tensor]]:
    """Return photographs to learn from, and those held out."""
    kept = np.load(path)
    groups: tuple[list[torch.Tensor], list[torch.Tensor]] = ([], [])
    for number, held in enumerate(kept["held"]):
        picture = Image.open(io.BytesIO(kept[f"p{number}"].tobytes())).convert("RGB")
        groups[int(held)].append(torch.from_numpy(np.array(picture)))
    return groups


def usual_of(path: Path) -> dict[str, np.ndarray]:
    """Return what the package takes for usual film, as tone_pictures.py wrote it."""
    kept = np.load(path)
    return {name[6:]: kept[name] for name in kept.files if name.startswith("usual_")}


class Prepared:
    """Scenes ready on the device: drawn once, many times used, turned and lit anew each time."""

    def __init__(self, pictures: Pictures, count: int, seed: int) -> None:
        generator = torch.Generator().manual_seed(seed)
        self.scenes = pictures.draw(count, 1, generator)[:, 0].half()

    def some(self, films: int, frames: int) -> torch.Tensor:
        place = torch.randint(0, len(self.scenes), (films, frames), device=self.scenes.device)
        scenes = self.scenes[place].float()
        # A lighter or darker print of the same, and one of another contrast.
        power = torch.exp(0.08 * torch.randn(films, frames, 1, 1, 1, device=scenes.device))
        gain = 1 - 0.5 * torch.rand_like(power) * (torch.rand_like(power) < 0.06)
        return (gain * scenes**power).clamp(0.0005, 1)


@dataclass
class Batch:
    """What is kept of films that were drawn: `shown` at some places of each frame alone."""

    shown: Shown
    small: torch.Tensor
    values: torch.Tensor
    level: torch.Tensor


def drawn(studio: Studio, scenes: Prepared, films: int, frames: int, direct: bool) -> Batch:
    """Return films drawn anew."""
    with torch.no_grad():
        shown = studio.capture(scenes.some(films, frames), direct)
        small, values, level = network.inputs(shown)
        places = torch.randperm(shown.d.shape[2], device=level.device)[:PLACES]
        shown = replace(shown, d=shown.d[:, :, places], truth=shown.truth[:, :, places])
        return Batch(shown, small.half(), values, level)


def turned(small: torch.Tensor) -> torch.Tensor:
    """Return thumbnails turned and mirrored, all of a batch alike."""
    turns = int(torch.randint(0, 4, (1,)))
    small = torch.rot90(small.float(), turns, dims=(3, 4))
    return small.flip(4) if torch.rand(1) < 0.5 else small


def measured(
    model: network.Tone, studio: Studio, scenes: Prepared, batches: int
) -> dict[str, dict[str, float]]:
    """Return how far off it is on films of held-out photographs, by kind."""
    found: dict[str, dict[str, float]] = {}
    with torch.no_grad():
        for frames in (1, 6):
            for direct in (False, True):
                parts: dict[str, list[torch.Tensor]] = {}
                for _ in range(batches):
                    films = 48 if frames == 6 else 192
                    batch = drawn(studio, scenes, films, frames, direct)
                    film, own = model(batch.small.float(), batch.values, batch.shown.facts)
                    said = network.losses(batch.shown, batch.level, film, own)
                    said["z_exposure"] = said["exposure"] / own[..., 3].exp()
                    said["z_cast"] = said["cast"] / own[..., 4:5].exp()
                    said["z_contrast"] = said["contrast"] / film[:, 9].exp()
                    said["ratio_error"] = said["error"] / (own[..., 5] + 1.6).exp()
                    for name, value in said.items():
                        parts.setdefault(name, []).append(value.flatten())
                whole = {name: torch.cat(value) for name, value in parts.items()}
                error = whole["error"]
                row = {
                    "mean": float(error.mean()),
                    "median": float(error.median()),
                    "p95": float(error.quantile(0.95)),
                    "ratio_error_p95": float(whole["ratio_error"].quantile(0.95)),
                }
                for name in (
                    "exposure",
                    "cast",
                    "contrast",
                    "ratios",
                    "matrix",
                    "z_exposure",
                    "z_cast",
                    "z_contrast",
                ):
                    row[name] = float(whole[name].square().mean().sqrt())
                found[f"{frames} {'direct' if direct else 'spectral'}"] = row
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--pictures", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=6)
    parser.add_argument("--batch", type=int, default=384, help="frames")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--scenes", type=int, default=6000)
    parser.add_argument("--rate", type=float, default=1.5e-3)
    parser.add_argument("--widths", type=int, nargs="*", default=[])
    parser.add_argument("--inner", type=int, default=112)
    parser.add_argument("--name", default="tone")
    options = parser.parse_args()
    torch.manual_seed(options.seed)
    torch.set_num_threads(4)
    torch.backends.cuda.matmul.allow_tf32 = False
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    learn, held = photographs(options.pictures)
    started = time.perf_counter()
    scenes = Prepared(Pictures(learn, device), options.scenes, options.seed)
    others = Prepared(Pictures(held, device), 1200, 10_000 + options.seed)
    print(f"scenes {time.perf_counter() - started:.0f} s", flush=True)
    studio = Studio(usual_of(options.pictures), device)
    model = network.Tone(tuple(options.widths), options.inner).to(device)
    count = sum(one.numel() for one in model.parameters())
    print(f"{count} weights", flush=True)
    optimiser = torch.optim.AdamW(model.parameters(), lr=options.rate, weight_decay=1e-3)
    average = {name: value.detach().clone() for name, value in model.state_dict().items()}
    started, step, sums = time.perf_counter(), 0, [0.0] * 4
    end = 60 * options.minutes
    kept: list[Batch] = []
    while (passed := time.perf_counter() - started) < end:
        share = passed / end
        rate = options.rate * min(1, (step + 1) / 200) * (0.5 + 0.5 * math.cos(math.pi * share))
        for group in optimiser.param_groups:
            group["lr"] = rate
        if step % USES == 0:
            turn = step // USES
            frames = FRAMES[turn % len(FRAMES)]
            films = max(24, options.batch // frames)
            fresh = drawn(studio, scenes, films, frames, turn % 4 == 3)
            kept = [*kept[-KEPT + 1 :], fresh]
        batch = kept[int(torch.randint(0, len(kept), (1,)))]
        film, own = model(turned(batch.small), batch.values, batch.shown.facts)
        said = network.losses(batch.shown, batch.level, film, own)
        error = said["error"]
        loss = error.mean() + 0.02 * error.square().mean() + 0.6 * said["nll"] + said["doubt"]
        if not torch.isfinite(loss):
            print(f"step {step}: loss is not finite", flush=True)
            step += 1
            continue
        optimiser.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        optimiser.step()
        keep = min(0.9996, step / (step + 20))
        with torch.no_grad():
            for name, value in model.state_dict().items():
                average[name].mul_(keep).add_(value, alpha=1 - keep)
        for k, part in enumerate((error.mean(), said["nll"], said["doubt"], loss)):
            sums[k] += float(part.detach()) / 100
        step += 1
        if step % 100 == 0:
            if step % 2000 == 0 or step == 100:
                print(f"{passed:.0f} s, step {step}:", *(f"{one:.3f}" for one in sums), flush=True)
            sums = [0.0] * 4
    model.load_state_dict(average)
    figures = measured(model, studio, others, 8)
    for name, row in figures.items():
        print(name, *(f"{key} {value:.3f}" for key, value in row.items()), flush=True)
    options.out.mkdir(parents=True, exist_ok=True)
    weights = {name: value.cpu().numpy().astype(np.float32) for name, value in average.items()}
    np.savez(options.out / f"{options.name}.npz", **weights)
    record = {
        "minutes": options.minutes,
        "steps": step,
        "seed": options.seed,
        "batch": options.batch,
        "weights": count,
        "learnt_from": len(learn),
        "held_out": len(held),
        "figures": figures,
        "versions": {"python": platform.python_version(), "torch": torch.__version__},
    }
    (options.out / f"{options.name}.json").write_text(json.dumps(record, indent=2) + "\n")


if __name__ == "__main__":
    main()
