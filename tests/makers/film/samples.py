"""The sample batch `harbour-2026-03`: which masters, and what the archive knows of them.

The Port Ellery Harbour Archive, its pictures, people and places are invented.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from makers.film import icc, plan_scene, png, things, write_master
from makers.film.tiff import Capture, Storage
from makers.targets import draw_samples

TARGETS = "targets"
BATCH = "harbour-2026-03"
SCENE_LONG_EDGE_PX = 320
DEFLATE, PLAIN, TILED = Storage(), Storage("none"), Storage(tile=256)
IN_COPYRIGHT = "http://rightsstatements.org/vocab/InC/1.0/"
NO_COPYRIGHT = "http://rightsstatements.org/vocab/NoC-OKLR/1.0/"
UNDETERMINED = "http://rightsstatements.org/vocab/UND/1.0/"
PUBLIC_DOMAIN = "http://creativecommons.org/publicdomain/mark/1.0/"
BY = "http://creativecommons.org/licenses/by/4.0/"


@dataclass(frozen=True)
class Sample:
    """One master: the drawing, the file, the capture."""

    item: str
    kind: str
    ppi: float
    seed: int
    options: dict[str, Any]
    storage: Storage = DEFLATE
    part: str | None = None
    tagged_ppi: bool = True
    time: str = "09:14:05"
    exposure: tuple[int, int] = (1, 60)

    @property
    def name(self) -> str:
        return f"{self.item}_{self.part}.tif" if self.part else f"{self.item}.tif"

    @property
    def capture(self) -> Capture:
        return Capture(taken=f"2026:03:17 {self.time}", exposure_s=self.exposure)

    def plan(self, width: int | None = None, height: int | None = None) -> things.Scene:
        """Lay it out at its own ppi, or at a given size."""
        ppi = None if width else self.ppi
        return plan_scene(self.kind, self.seed, width, height, ppi=ppi, **self.options)

    def write(self, folder: Path, scene: things.Scene, storage: Storage | None = None) -> Path:
        path = folder / self.name
        how = storage or self.storage
        write_master(path, scene, capture=self.capture, storage=how, tagged_ppi=self.tagged_ppi)
        return path


_GREY: dict[str, Any] = {"samples": 1}
_WIDE: dict[str, Any] = {"wide": True, "gamma": icc.GAMMA_WIDE}
SAMPLES: tuple[Sample, ...] = (
    Sample("PEH-0001", "frame_135", 700, 101, {"views": ("basin",), "skew_deg": 1.37}),
    Sample(
        "PEH-0002",
        "sheet",
        240,
        102,
        {"views": ("launch",), "skew_deg": -2.21, **_GREY},
        PLAIN,
        time="09:21:40",
    ),
    Sample(
        "PEH-0003",
        "mounted_slide",
        400,
        103,
        {"views": ("cranes",), "skew_deg": -0.84, **_WIDE},
        TILED,
        time="09:29:12",
        exposure=(1, 30),
    ),
    Sample(
        "PEH-0004",
        "plate",
        240,
        104,
        {"views": ("men",), "skew_deg": 2.63, "mirror": True, "gamma": 2.2, **_GREY},
        TILED,
        time="09:36:55",
    ),
    Sample(
        "PEH-0005",
        "lantern",
        220,
        105,
        {"views": ("night",), "skew_deg": 0.58, "rotate": 90, **_WIDE},
        time="09:44:31",
        exposure=(1, 15),
    ),
    Sample(
        "PEH-0006",
        "strip_135",
        255,
        106,
        {"views": ("quay", "fleet", "blank", "lighthouse", "snow"), "skew_deg": -0.93},
        tagged_ppi=False,
        time="09:58:20",
    ),
    Sample(
        "PEH-0007",
        "strip_120",
        280,
        107,
        {"views": ("storm", "quay", "cranes"), "skew_deg": 0.71, "gamma": 1.8, **_GREY},
        Storage(big=True),
        time="10:07:48",
    ),
    Sample(
        "PEH-0008",
        "cut_frames",
        240,
        108,
        {
            "views": ("basin", "men", "night", "lighthouse"),
            "skew_deg": 1.0,
            "label": "PEH-0008",
        },
        TILED,
        time="10:19:02",
    ),
    Sample(
        "PEH-0009",
        "print",
        140,
        109,
        {"views": ("quay",), "skew_deg": -1.48, **_WIDE},
        time="10:31:26",
        exposure=(1, 8),
    ),
    Sample(
        "PEH-0010",
        "small_sheet",
        220,
        110,
        # Seen from its emulsion side.
        {"views": ("lighthouse",), "skew_deg": 1.92, "mirror": True, **_GREY},
        PLAIN,
        part="emu",
        time="10:42:10",
    ),
    Sample(
        "PEH-0010",
        "sleeve",
        110,
        120,
        {"skew_deg": -0.66, "label": "PEH-0010", **_WIDE},
        part="sleeve",
        time="10:43:37",
        exposure=(1, 8),
    ),
    Sample(
        "PEH-0011",
        "quarter_plate",
        240,
        111,
        {"views": ("night",), "skew_deg": -2.87, **_GREY},
        time="10:55:51",
    ),
    Sample(
        "PEH-0012",
        "mounted_slide",
        340,
        112,
        {"views": ("fleet",), "skew_deg": 1.11, **_WIDE},
        time="11:08:15",
        exposure=(1, 30),
    ),
)

BATCH_YAML = """\
# What the studio states of this batch; later entries win, key by key.
title: Harbour works, first capture session
operator: {capture: op-03, check: op-07}
# Captures of a few megapixels: 200 ppi were agreed to be enough, 100 for the print.
defaults: {required_ppi: 200}
items:
  - match: "PEH-*"
    crop: picture
  - match: PEH-0001
    kind: frame_135
    polarity: negative
    process: colour
    nominal_ppi: 700
  - match: PEH-0002
    kind: sheet
    polarity: negative
    process: monochrome
    nominal_ppi: 240
  - match: PEH-0003
    kind: mounted_slide
    polarity: positive
    process: colour
    nominal_ppi: 400
  - match: PEH-0004
    kind: plate
    polarity: negative
    process: monochrome
    emulsion_side: toward    # laid with the coating up: the picture is mirrored
    nominal_ppi: 240
  - match: PEH-0005
    kind: lantern
    polarity: positive
    process: monochrome
    rotate: 90               # lay on its side
    nominal_ppi: 220
  - match: PEH-0006
    kind: strip_135          # no resolution in the file: the perforations tell it
    polarity: negative
    process: colour
    film_stock: colour negative, maker unknown
    slopes: [0.55, 0.60, 0.64]
  - match: PEH-0007
    kind: strip_120
    polarity: negative
    process: monochrome
    nominal_ppi: 280
  - match: PEH-0008
    kind: cut_frames
    polarity: negative
    process: monochrome
    nominal_ppi: 240
  - match: PEH-0009
    kind: print
    polarity: positive
    process: colour
    nominal_ppi: 140
    required_ppi: 100
  - match: PEH-0011
    kind: plate
    polarity: negative
    process: monochrome
    nominal_ppi: 240
  # PEH-0010 and PEH-0012 are left to recognition; the part `emu` says that a side is mirrored.
# Captures of a film and of a print target on this rig, each with one of the bare light.
targets:
"""

COLUMNS = (
    *("item_id", "title", "description", "date", "creator", "creator_role", "subjects", "places"),
    *("languages", "genre", "material", "decay_level", "rights_uri", "copyright_status"),
    *("credit", "identifiers", "collection"),
)
_CREDIT = "Port Ellery Harbour Archive"
_WORKS, _PRIVATE = "Harbour Works Department", "Åse Thorvelund bequest"


def _row(
    item: str,
    title: str,
    description: str,
    date: str,
    creator: str,
    role: str,
    subjects: str,
    places: str,
    genre: str,
    material: str,
    decay: str,
    rights: tuple[str, str],
    identifiers: str,
    collection: str,
    languages: str = "eng",
) -> dict[str, str]:
    values = (
        item,
        title,
        description,
        date,
        creator,
        role,
        subjects,
        places,
        languages,
        genre,
        material,
        decay,
        rights[0],
        rights[1],
        _CREDIT,
        identifiers,
        collection,
    )
    return dict(zip(COLUMNS, values, strict=True))


_OPEN = (PUBLIC_DOMAIN, "public domain")
_KEPT = (IN_COPYRIGHT, "copyrighted")
_UNSURE = (UNDETERMINED, "unknown")

CATALOGUE: tuple[dict[str, str], ...] = (
    _row(
        "PEH-0001",
        "Steamer “Mårvölla” in the East Basin",
        "Coastal steamer at the coal berth, two quay cranes behind her; rowing boat in front.",
        "summer 1974",
        "Nørrevind, Ebba",
        "photographer",
        "Steamships|Cranes, derricks, etc.|Harbors",
        "Port Ellery|East Basin",
        "colour negatives",
        "acetate",
        "0",
        _KEPT,
        "local:HW/74/118",
        _WORKS,
    ),
    _row(
        "PEH-0002",
        "Launch of the dredger „Ellery II“",
        "Dredger dressed with flags on the slip; crowd in front. Sheet curls at the edges, "
        "vinegar smell noted.",
        "12 May 1937",
        "Köldering & Søn (firm)",
        "photographer",
        "Ship launchings|Dredges|Crowds",
        "Port Ellery|Hallward’s Slip",
        "negatives",
        "acetate",
        "3",
        _UNSURE,
        "local:HW/37/004|accession:1988.14.2",
        _WORKS,
        "eng|deu",
    ),
    _row(
        "PEH-0003",
        "Cranes of the New Quay",
        "Three jib cranes seen from the quay, sheds to either side.",
        "1966?",
        "Thorvelund, Åse",
        "photographer",
        "Cranes, derricks, etc.|Quays|Warehouses",
        "Port Ellery|New Quay",
        "slides",
        "polyester",
        "",
        (BY, "copyrighted"),
        "local:AT/66/31",
        _PRIVATE,
    ),
    _row(
        "PEH-0004",
        "Net menders before the rope store",
        "Three men and a woman, standing. Plate chipped at one corner.",
        "c. 1905",
        "unknown",
        "photographer",
        "Fishing nets|Fishers|Group portraits",
        "Port Ellery|Rope Walk",
        "glass negatives",
        "glass",
        "",
        _OPEN,
        "local:GP/12",
        "Glass plates",
    ),
    _row(
        "PEH-0005",
        "Harbour lights from the Customs Stairs",
        "Lantern slide for an evening lecture; moon, lamps and lit sheds over the water.",
        "1890-1910",
        "Dubrévent, Élodie",
        "photographer",
        "Night photography|Harbors|Street lighting",
        "Port Ellery|Customs Stairs",
        "lantern slides",
        "glass",
        "",
        _OPEN,
        "local:LS/7",
        "Lecture slides",
        "eng|fra",
    ),
    _row(
        "PEH-0006",
        "Winter regatta and quay, five exposures",
        "Strip of five frames, the third unexposed.",
        "February 1981",
        "Nørrevind, Ebba",
        "photographer",
        "Regattas|Snow|Lighthouses|Quays",
        "Port Ellery|The Mole",
        "colour negatives",
        "acetate",
        "0",
        _KEPT,
        "local:HW/81/022",
        _WORKS,
    ),
    _row(
        "PEH-0007",
        "Gale at the harbour mouth, and the day after",
        "Three frames: the mail steamer in heavy seas; quay; cranes.",
        "1930s",
        "Żółmirewicz, Jan",
        "photographer",
        "Storms|Steamships|Quays",
        "Port Ellery",
        "negatives",
        "acetate",
        "1",
        _UNSURE,
        "local:HW/3x/051",
        _WORKS,
        "eng|pol",
    ),
    _row(
        "PEH-0008",
        "Four cut frames from a harbour film",
        "Hand-cut pieces kept in one paper packet. Nitrate: store and handle as the fire "
        "code demands.",
        "before 1920",
        "unknown",
        "photographer",
        "Steamships|Lighthouses|Fishers",
        "Port Ellery",
        "negatives",
        "nitrate",
        "2",
        _OPEN,
        "local:NF/3|accession:1951.2.19",
        "Cut film",
    ),
    _row(
        "PEH-0009",
        "People on the quay, market day",
        "Colour print, borderless; slight wear.",
        "undated",
        "unknown",
        "photographer",
        "Markets|Quays|Warehouses",
        "Port Ellery|Fish Quay",
        "photographic prints",
        "paper",
        "",
        _UNSURE,
        "local:PR/88",
        "Prints",
    ),
    _row(
        "PEH-0010",
        "The Mole light, breakers",
        "Film-pack negative with its paper sleeve.",
        "c. 1931",
        "Köldering & Søn (firm)",
        "photographer",
        "Lighthouses|Breakwaters",
        "Port Ellery|The Mole",
        "negatives",
        "acetate",
        "0",
        (NO_COPYRIGHT, "public domain"),
        "local:HW/31/009",
        _WORKS,
    ),
    _row(
        "PEH-0011",
        "Night work at the coal berth",
        "Quarter plate; long exposure.",
        "probably 1898",
        "unknown",
        "photographer",
        "Night photography|Coal|Steamships",
        "Port Ellery|East Basin",
        "glass negatives",
        "glass",
        "",
        _OPEN,
        "local:GP/31",
        "Glass plates",
    ),
    _row(
        "PEH-0012",
        "The fleet comes home",
        "Fishing smacks under sail at evening.",
        "after 1958",
        "Thorvelund, Åse",
        "photographer",
        "Fishing boats|Sunsets",
        "Port Ellery|Ellery Sound",
        "slides",
        "polyester",
        "",
        (BY, "copyrighted"),
        "local:AT/58/02",
        _PRIVATE,
    ),
)


def catalogue_text(rows: Iterable[dict[str, str]], columns: Iterable[str] = COLUMNS) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, list(columns), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def manifest_text(folder: Path, names: Iterable[str]) -> str:
    """Return "<hex>  <path>" lines for the files `names` of `folder`."""
    return "".join(f"{sha256(folder / name)}  {name}\n" for name in sorted(names))


@dataclass
class Truth:
    """Collects what is true of a batch's masters, and the scenes' small pictures."""

    masters: dict[str, Any] = field(default_factory=dict)
    pictures: dict[str, np.ndarray] = field(default_factory=dict)

    def add(self, sample: Sample, scene: things.Scene) -> None:
        entry = {"item": sample.item, **json.loads(json.dumps(scene.truth))}
        entry["ppi_tagged"] = sample.tagged_ppi
        for frame, light in zip(entry["frames"], scene.scenes, strict=True):
            frame["scene"] = None
            if light is not None:
                name = f"{Path(sample.name).stem}_{frame['index']:02d}.png"
                frame["scene"] = f"scenes/{name}"
                self.pictures[name] = small_srgb(light)
        self.masters[sample.name] = entry

    def write(self, folder: Path) -> None:
        (folder / "scenes").mkdir(parents=True, exist_ok=True)
        record = {"batch": BATCH, "masters": self.masters}
        text = json.dumps(record, indent=1, sort_keys=True, ensure_ascii=False)
        (folder / f"{BATCH}.json").write_text(text + "\n", "utf-8")
        for name, rgb in self.pictures.items():
            png.write(folder / "scenes" / name, rgb)


def small_srgb(light: np.ndarray) -> np.ndarray:
    """Return a scene (linear light) as a small 8-bit sRGB picture (IEC 61966-2-1)."""
    rows, columns = light.shape[:2]
    step = max(1, -(-max(rows, columns) // SCENE_LONG_EDGE_PX))
    rows, columns = rows - rows % step, columns - columns % step
    blocks = light[:rows, :columns].reshape(rows // step, step, columns // step, step, -1)
    small = np.clip(blocks.astype(np.float64).mean(axis=(1, 3)), 0, 1)
    low, high = small * 12.92, 1.055 * small ** (1 / 2.4) - 0.055
    codes = np.floor(np.round(np.where(small <= 0.0031308, low, high) * 255, 5) + 0.5)
    return np.broadcast_to(codes.astype(np.uint8), (*codes.shape[:2], 3)).copy()


def write_batch(root: Path, truth_folder: Path | None) -> Iterator[tuple[str, int]]:
    """Write the sample batch under `root`; yield (name, bytes) of each master as it is done."""
    folder = root / BATCH
    folder.mkdir(parents=True, exist_ok=True)
    truth = Truth()
    for sample in SAMPLES:
        scene = sample.plan()
        path = sample.write(folder, scene)
        truth.add(sample, scene)
        yield sample.name, path.stat().st_size
    captures = []
    for path in draw_samples.write(folder / TARGETS):
        captures.append(f"{TARGETS}/{path.name}")
        yield captures[-1], path.stat().st_size
    batch_yaml = BATCH_YAML + draw_samples.batch_lines(TARGETS)
    (folder / "batch.yaml").write_text(batch_yaml, "utf-8")
    (folder / "catalogue.csv").write_text(catalogue_text(CATALOGUE), "utf-8")
    names = [*(sample.name for sample in SAMPLES), *captures]
    (folder / "manifest-sha256.txt").write_text(manifest_text(folder, names), "utf-8")
    if truth_folder is not None:
        truth.write(truth_folder)
