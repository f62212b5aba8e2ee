"""A batch with one of each usual fault, small and quick to make."""

from __future__ import annotations

from pathlib import Path

from makers.film import samples
from makers.film.samples import Sample
from makers.film.tiff import Storage

WIDTH_PX = 800
TWO_ITEMS = "PEH-0107.tif"


def make_faulty_batch(folder: Path) -> dict[str, str]:
    """Write the batch into `folder` (made if missing); return {item or file: its problem}.

    "good" stands for items without a problem. A master named in the `masters` column of two
    catalogue rows belongs to two items.
    """
    folder.mkdir(parents=True, exist_ok=True)
    masters = {
        "PEH-0101": "frame_135",
        "PEH-0102": "sheet",
        "PEH-0103": "mounted_slide",
        "PEH-0104": "plate",
        "PEH-0105": "frame_135",
        "PEH-0107": "sheet",
    }
    names = []
    for number, (item, kind) in enumerate(masters.items()):
        names.append(_master(folder, item, kind, 200 + number))
    odd = "scan 0042 final.tif"
    (folder / _master(folder, "PEH-0106", "frame_135", 206)).rename(folder / odd)
    manifest = samples.manifest_text(folder, [*names, odd])
    manifest = _with_wrong_digest(manifest, "PEH-0104.tif")
    (folder / "manifest-sha256.txt").write_text(manifest, "utf-8")
    damaged = folder / "PEH-0103.tif"
    with damaged.open("r+b") as file:
        file.truncate(damaged.stat().st_size // 2)
    (folder / "catalogue.csv").write_text(_catalogue(), "utf-8")
    (folder / "batch.yaml").write_text(_facts(masters), "utf-8")
    return {
        "PEH-0101": "good",
        "PEH-0102": "good",
        "PEH-0103": "truncated master",
        "PEH-0104": "wrong checksum",
        "PEH-0105": "no catalogue row",
        odd: "name off the template",
        TWO_ITEMS: "master for two items",
    }


def _master(folder: Path, item: str, kind: str, seed: int) -> str:
    options = {"samples": 1} if kind in ("sheet", "plate") else {}
    # 800 px at the ppi that fills the kind's own field
    sample = Sample(item, kind, 0.0, seed, options, Storage(), time="13:05:00")
    sample.write(folder, sample.plan(WIDTH_PX))
    return sample.name


def _with_wrong_digest(manifest: str, name: str) -> str:
    lines = []
    for line in manifest.splitlines():
        digest, path = line.split("  ", 1)
        first = "0" if digest[0] != "0" else "1"
        lines.append(f"{first + digest[1:] if path == name else digest}  {path}\n")
    return "".join(lines)


def _catalogue() -> str:
    model = samples.CATALOGUE[6]
    named = dict.fromkeys(("PEH-0101", "PEH-0102", "PEH-0103", "PEH-0104", "PEH-0106"), "")
    named |= dict.fromkeys(("PEH-0107", "PEH-0108"), TWO_ITEMS)
    rows = [
        {**model, "item_id": item, "title": f"Harbour view {item[-3:]}", "masters": master}
        for item, master in named.items()
    ]
    return samples.catalogue_text(rows, (*samples.COLUMNS, "masters"))


def _facts(masters: dict[str, str]) -> str:
    colour = {"frame_135": "colour", "mounted_slide": "colour"}
    lines = ["title: A session with faults", "operator: {capture: op-03, check: op-07}", "items:"]
    for item, kind in masters.items():
        polarity = "positive" if kind == "mounted_slide" else "negative"
        lines += [f"  - match: {item}", f"    kind: {kind}", f"    polarity: {polarity}"]
        lines.append(f"    process: {colour.get(kind, 'monochrome')}")
    return "\n".join(lines) + "\n"
