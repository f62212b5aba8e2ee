"""A thousand batch folders of all that may lie in one: no entry is lost, nothing outside is read,
and nothing takes long.

The oracle looks at the folder by itself, and knows only the places of intake.json: an entry is a
master of an item or a picture beside one, a target capture, named by a finding, listed among
`other_files` or `ignored_files` (which no TIFF may be), or one of the
side files that were read. A batch that stops says why, and names a folder or file of it.
"""

import hashlib
import json
import os
import random
import stat
import struct
import time
from pathlib import Path, PurePosixPath

import pytest

from glassine.base import naming, settings
from glassine.base.errors import GlassineError
from glassine.intake import checksums, companions
from glassine.intake import step as intake
from glassine.intake.model import OTHER_PICTURE_SUFFIXES
from makers.step_calls import taken_in

FOLDERS = 1000
SECRET = "a secret of somebody else"
CONFIG = settings.load({"intake": {"watch_s": 0, "labels": "never"}})
CHOICES = [
    settings.load({"intake": {"watch_s": 0, "labels": "never"}, "catalogue": {"required": False}}),
    settings.load({"intake": {"watch_s": 0, "labels": "never", "min_age_minutes": 30}}),
    CONFIG,
    CONFIG,
]
NAMES = [
    "PEH-{n:04d}.tif", "PEH-{n:04d}.tif", "PEH-{n:04d}.tif", "PEH-{n:04d}_emu.tif",
    "PEH-{n:04d}_base.tiff", "peh-{n:04d}.tif", "PEH-{n:04d}.TIF", "PEH {n}.tif", "PEH-{n:04d}.jpg",
    "PEH-{n:04d}.tif ", "PEH-{n:04d}", "PEH-{n:04d}.tif.part", "scan {n} final.tif", "notes {n}.txt",
    "é{n}.tif", "e\u0301{n}.tif", "x\x1b[2J{n}.tif", "\u202egpj{n}.tif", "$(touch P){n}.tif",
    "{{x}}{n}.tif", "-rf{n}.tif", "con.tif", "new\nline{n}.tif", "%2e{n}.tif", "a\\b{n}.tif",
    ".DS_Store", "._PEH-{n:04d}.tif", "lat\udce9{n}.tif", "lat\udce9{n}.txt", "{long}{n}.tif",
]  # fmt: skip
SIDES = [
    "catalogue.csv", "catalogue.csv", "catalogue.csv", "Catalogue.csv", "catalogue.xlsx",
    "catalogue.jsonl", "batch.yaml", "batch.yml", "batch.yaml.bak", "corrections.yaml",
    "corrections(1).yaml", "manifest-sha256.txt", "SHA256SUMS", "checksums.md5", "film.sfv",
    "manifest-sha256.txt.bak", "katalog.csv",
]  # fmt: skip
PLACES = ["", "", "", "", "a", "b", "A", "a/b", "targets", "inner"]


def tiff(number):
    """A TIFF header of 12 x 8 pixels with bytes of its own; intake decodes nothing."""
    entries = struct.pack("<HHII", 256, 4, 1, 12) + struct.pack("<HHII", 257, 4, 1, 8)
    return b"II*\0" + struct.pack("<IH", 8, 2) + entries + bytes(4) + number.to_bytes(4, "big")


class Maker:
    """Fills one batch folder by chance."""

    def __init__(self, folder, outside, seed):
        self.random = random.Random(seed)
        self.folder, self.outside = folder, outside
        self.seed = seed

    def fill(self):
        for number in range(self.random.randrange(0, 9)):
            template = self.random.choice(NAMES)
            name = template.format(n=self.random.randrange(1, 7), long="x" * 205)
            self.put(self.random.choice(PLACES), name, tiff(number + self.seed * 100))
        for _ in range(self.random.randrange(0, 4)):
            name = self.random.choice(SIDES)
            place = self.random.choice(["", "", "", "", "", "", "", "inner"])
            self.put(place, name, self.content(name))
        if self.random.random() < 0.7 and not os.path.lexists(self.folder / "catalogue.csv"):
            (self.folder / "catalogue.csv").write_text(self.rows())

    def put(self, place, name, content):
        path = self.folder / place / name
        if os.path.lexists(path):
            return
        path.parent.mkdir(parents=True, exist_ok=True)
        kind = self.random.random()
        if kind < 0.05:
            path.symlink_to(self.random.choice([self.outside, "/dev/zero", "nowhere", "..", "/"]))
        elif kind < 0.08:
            os.mkfifo(path)
        elif kind < 0.11:
            path.mkdir()
        elif kind < 0.14 and any(self.folder.glob("*.tif")):
            first = next(iter(sorted(self.folder.glob("*.tif"))))
            if first.is_file() and not first.is_symlink():
                os.link(first, path)
            else:
                path.write_bytes(content)
        elif kind < 0.18:
            path.write_bytes(b"")
        else:
            path.write_bytes(content)

    def rows(self):
        return "item_id,title\n" + "".join(f"PEH-{n:04d},Quay {n}\n" for n in range(1, 6))

    def content(self, name):
        if "catalog" in name.lower() or "katalog" in name:
            return self.rows().encode()
        if name.startswith("batch"):
            text = self.random.choice(
                ["defaults: {kind: plate}\n", "title: 'x\n", "defaults: {nominal_ppi: .nan}\n",
                 "targets: [{path: a/PEH-0001.tif, description: film-example.yaml}]\n"]
            )  # fmt: skip
            return text.encode()
        if name.startswith("corrections"):
            return b"corrections: []\n"
        return self.checksum_list()

    def checksum_list(self):
        lines = []
        for path in sorted(self.folder.rglob("*")):
            if path.is_symlink() or not path.is_file() or self.random.random() < 0.2:
                continue
            shown = os.fsencode(path.relative_to(self.folder)).decode("utf-8", "replace")
            digest = hashlib.sha256(path.read_bytes()).hexdigest()
            windows = "D:\\s\\" + shown.replace("/", "\\")
            forms = [
                f"{digest}  {shown}",
                f"{digest.upper()} *{shown}",
                f"{windows};{digest}",
                f"SHA256 ({shown}) = {digest}",
                f"{'0' * 64}  gone-{shown}",
                "rubbish",
            ]
            lines.append(self.random.choice(forms))
        text = "\n".join(lines) + "\n"
        return text.encode(self.random.choice(["utf-8", "utf-8-sig", "utf-16", "utf-16-le"]))


def entries(folder):
    """Return all that is no folder, or is one under a picture's name, as intake shows it."""
    pictures = naming.MASTER_SUFFIXES | OTHER_PICTURE_SUFFIXES
    found = []
    for above, folders, names in os.walk(folder):
        for name in [*names, *folders]:
            path = Path(above) / name
            is_folder = stat.S_ISDIR(path.lstat().st_mode)
            if not is_folder or path.suffix.lower() in pictures:
                raw = os.fsencode(path.relative_to(folder))
                found.append(raw.decode("utf-8", "backslashreplace"))
    return found


def read_aside(path):
    """Whether the name is that of a side file, which needs no place of its own where it was read."""
    name = companions.folded(PurePosixPath(path).name)
    top = "/" not in path
    known = name.startswith(("catalog.", "catalogue.", "batch.", "corrections."))
    exact = ("csv", "tsv", "jsonl", "ndjson", "xml", "yaml", "yml")
    known = known and name.count(".") == 1 and name.endswith(exact)
    known = known or name in companions.CATALOGUE_NAMES
    return (top and known) or checksums.kind_of(path) is not None


def check(result, folder):
    masters = [each["path"] for item in result["items"] for each in item["masters"]]
    captures = [each["path"] for target in result["targets"] for each in target["captures"]]
    findings = [*result["notes"], *(each for item in result["items"] for each in item["findings"])]
    told = {path for each in findings for path in (each["path"], *each["path"].split(", "))}
    listing = {"catalogue.none", "intake.nested_batch"}  # these name files in their words
    words = "\n".join(each["what"] for each in findings if each["code"] in listing)
    assert len(masters) == len(set(masters)), "a master of two items"
    assert not set(masters) & set(result["other_files"])
    side = [path for path in entries(folder) if read_aside(path)]
    beside = [each["path"] for item in result["items"] for each in item["companions"]]
    places = {*masters, *captures, *beside, *result["other_files"], *result["ignored_files"]}
    for path in result["ignored_files"]:
        name = PurePosixPath(path).name
        assert name == ".DS_Store" or name.startswith("._"), f"{path!r} was left out"
        assert (folder / path).read_bytes()[:2] != b"II", f"{path!r} is a TIFF, and was left out"
    for path in entries(folder):
        assert path in places or path in told | {*side} or path in words, f"{path!r} is lost"
    for item in result["items"]:
        if item["state"] == "ready":
            assert item["masters"]
            for each in item["masters"]:
                real = os.lstat(folder / each["path"])
                assert stat.S_ISREG(real.st_mode)
            assert not any(each["severity"] == "hold" for each in item["findings"])
    read_sides(result, folder)


def read_sides(result, folder):
    """What is no regular file, or not the only one of its kind, is never read in silence."""
    names = [path.name for path in folder.iterdir()]
    readable = {"csv", "tsv", "jsonl", "ndjson", "xml"}
    catalogues = [
        name
        for name in names
        if companions.folded(name).partition(".")[0] in ("catalogue", "catalog")
        and companions.folded(name).rpartition(".")[2] in readable
    ]
    sound = len(catalogues) == 1 and stat.S_ISREG(os.lstat(folder / catalogues[0]).st_mode)
    ready = [item for item in result["items"] if item["state"] == "ready"]
    if catalogues and not sound:
        assert not ready, catalogues
    lists = [name for name in names if checksums.kind_of(name) and "." in name]
    if any(not stat.S_ISREG(os.lstat(folder / name).st_mode) for name in lists):
        assert all(each["expected"] for item in ready for each in item["masters"])


def test_no_entry_of_any_batch_folder_is_lost(tmp_path):
    outside = tmp_path / "outside.tif"
    outside.write_text(SECRET)
    began, states, stopped = time.process_time(), set(), 0
    for seed in range(FOLDERS):
        folder = tmp_path / f"b{seed}"
        folder.mkdir()
        Maker(folder, outside, seed).fill()
        config = CHOICES[seed % len(CHOICES)]
        start = time.process_time()
        try:
            result = taken_in(folder, {"batch": folder.name, "settings": config})
        except GlassineError as error:
            stopped += 1
            assert all(each.path and each.next_step for each in error.findings), seed
            assert SECRET not in str(error)
            continue
        finally:
            assert time.process_time() - start < 5, seed
        check(result, folder)
        states |= {item["state"] for item in result["items"]}
        text = json.dumps(result)
        assert SECRET not in text, seed
    # The test says nothing where all stop, or none is ever ready.
    assert states == {"ready", "held", "waiting"}
    assert stopped < FOLDERS / 4
    assert time.process_time() - began < 60


@pytest.mark.parametrize("seed", range(40))
def test_folders_that_may_not_be_entered_are_told_in_any_batch(tmp_path, seed, monkeypatch):
    """Listing fails for one folder, as the system refuses it to a user without the right."""
    outside = tmp_path / "outside.tif"
    outside.write_text(SECRET)
    folder = tmp_path / "b"
    folder.mkdir()
    Maker(folder, outside, seed).fill()
    (folder / "closed").mkdir()
    real = os.listdir

    def listdir(handle):
        if Path(f"/proc/self/fd/{handle}").readlink().name == "closed":
            raise PermissionError(13, "Permission denied")
        return real(handle)

    monkeypatch.setattr(intake.door.os, "listdir", listdir)
    with pytest.raises(GlassineError, match="closed: This folder cannot be listed"):
        taken_in(folder, {"batch": "b", "settings": CONFIG})
