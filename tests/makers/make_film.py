"""Make the sample masters, or any of them at any size.

  python tests/makers/make_film.py --out sample_masters           the committed batch, byte for byte
  python tests/makers/make_film.py --check                        make it anew elsewhere and compare
  python tests/makers/make_film.py --item PEH-0002 --size 14204x10652 --out DIR
  python tests/makers/make_film.py --item PEH-0001 --size 6000x4000 --copies 20 --out DIR
  python tests/makers/make_film.py --faulty DIR                   a batch with one of each usual fault

Large masters are computed and written in bands. `--copies` makes a batch of that many items,
each with its own drawing, with catalogue, manifest and batch.yaml.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))
sys.path.insert(0, str(Path(__file__).parents[1]))

from makers.film import samples
from makers.film.tiff import Storage

PROJECT = Path(__file__).resolve().parents[2]
MAX_SIZE = (14204, 10652)
# Above this many pixels packing takes longer than drawing: write the samples as they are.
PLAIN_ABOVE_PX = 20_000_000


def main(arguments: Sequence[str] | None = None) -> int:
    options = _parser().parse_args(arguments)
    if options.check:
        return check()
    if options.faulty:
        from makers.film.faulty import make_faulty_batch

        for name, problem in make_faulty_batch(options.faulty).items():
            print(f"{name}: {problem}")
        return 0
    if options.item is None:
        truth = PROJECT / "tests/truth" if options.truth is None else options.truth
        return make_samples(options.out, truth)
    if options.copies:
        return make_copies(options.item, options.size, options.copies, options.out)
    for sample in _named(options.item):
        _write_sized(sample, options.size, options.out)
    return 0


def make_samples(out: Path, truth: Path) -> int:
    total = 0
    for name, size in samples.write_batch(out, truth):
        total += size
        print(f"{name}  {size / 1e6:.1f} MB")
    print(f"{out / samples.BATCH}: {total / 1e6:.1f} MB")
    return 0


def check() -> int:
    """Make all samples anew in a temporary folder; 1 when a byte differs from the committed."""
    with tempfile.TemporaryDirectory() as name:
        fresh = Path(name)
        for _ in samples.write_batch(fresh / "masters", fresh / "truth"):
            pass
        pairs = ((fresh / "masters", PROJECT / "sample_masters"), (fresh / "truth", TRUTH))
        differing = [
            str(old / path.relative_to(new))
            for new, old in pairs
            for path in sorted(new.rglob("*"))
            if path.is_file() and not _same(path, old / path.relative_to(new))
        ]
    for name in differing:
        print(f"differs: {name}")
    print("differences: " + str(len(differing)))
    return 1 if differing else 0


TRUTH = PROJECT / "tests/truth"


def _same(new: Path, old: Path) -> bool:
    return old.is_file() and new.read_bytes() == old.read_bytes()


def make_copies(item: str, size: tuple[int, int] | None, copies: int, out: Path) -> int:
    """Write a batch folder `out` of `copies` items, COPY-0001 and so on."""
    model = _named(item)[0]
    rows = {row["item_id"]: row for row in samples.CATALOGUE}
    out.mkdir(parents=True, exist_ok=True)
    names, catalogue = [], []
    for number in range(1, copies + 1):
        name = f"COPY-{number:04d}"
        sample = replace(model, item=name, seed=model.seed + 1000 * number)
        _write_sized(sample, size, out)
        names.append(sample.name)
        title = f"{rows[item]['title']} ({number})"
        catalogue.append({**rows[item], "item_id": name, "title": title})
    scene = model.plan(*(size or ()))
    facts = (
        f'title: {copies} copies\noperator: {{capture: op-03}}\nitems:\n  - match: "COPY-*"\n'
        f"    kind: {scene.truth['kind']}\n    polarity: {scene.truth['polarity']}\n"
        f"    process: {scene.truth['process']}\n    nominal_ppi: {scene.truth['ppi']}\n"
    )
    (out / "batch.yaml").write_text(facts, "utf-8")
    (out / "catalogue.csv").write_text(samples.catalogue_text(catalogue), "utf-8")
    (out / "manifest-sha256.txt").write_text(samples.manifest_text(out, names), "utf-8")
    return 0


def _write_sized(sample: samples.Sample, size: tuple[int, int] | None, out: Path) -> None:
    out.mkdir(parents=True, exist_ok=True)
    scene = sample.plan(*(size or ()))
    pixels = scene.field.width * scene.field.height
    storage = Storage("none", sample.storage.tile, sample.storage.big)
    path = sample.write(out, scene, storage if pixels > PLAIN_ABOVE_PX else None)
    print(f"{path}: {scene.field.width} x {scene.field.height} px, {scene.field.ppi:.1f} ppi")


def _named(item: str) -> list[samples.Sample]:
    found = [sample for sample in samples.SAMPLES if sample.item == item]
    if not found:
        known = sorted({sample.item for sample in samples.SAMPLES})
        raise SystemExit(f"no sample {item!r}; there are {', '.join(known)}")
    return found


def _size(text: str) -> tuple[int, int]:
    width, _, height = text.partition("x")
    size = int(width), int(height)
    if not (64 <= size[0] <= MAX_SIZE[0] and 64 <= size[1] <= MAX_SIZE[1]):
        raise argparse.ArgumentTypeError(f"sizes go from 64x64 to {MAX_SIZE[0]}x{MAX_SIZE[1]}")
    return size


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--out", type=Path, default=PROJECT / "sample_masters")
    parser.add_argument("--truth", type=Path, help="where the truth goes (default tests/truth)")
    parser.add_argument("--check", action="store_true", help="compare with the committed samples")
    parser.add_argument("--item", help="one item of the samples, e.g. PEH-0002")
    parser.add_argument("--size", type=_size, help="WIDTHxHEIGHT in pixels")
    parser.add_argument("--copies", type=int, default=0, help="make a batch of so many items")
    parser.add_argument("--faulty", type=Path, help="make the faulty batch in this folder")
    return parser


if __name__ == "__main__":
    sys.exit(main())
