"""One batch with everything that lies in wait: odd names, links, pipes, bombs, hostile texts.

The good items are done and delivered; each other file is named once with a reason; nothing is
written elsewhere, nothing is run, no master is touched.
"""

import csv
import json
import os
import socket
import struct

import numpy as np
import pytest
import tifffile
from lxml import etree

from faults import batches
from makers.studio import Studio

GOOD = ["PEH-0001", "PEH-0002", "PEH-0003"]
TITLE = "</dc:title><script>alert(1)</script>&boom; 'q\" ]]> {{7*7}} $(touch PWNED)"
FORMULA = '=HYPERLINK("http://x.example";"look")'
NAMES = [
    b"$(touch PWNED).tif",
    b"`touch PWNED`.tif",
    b"a b'c\"d;e&f.tif",
    b"-rf.tif",
    b"x{y}.tif",
    b"new\nline.tif",
    b"tab\there.tif",
    b"lat\xe9.tif",
    b"a\xed\xa0\x80b.tif",  # half a surrogate pair
    "caf\u00e9.tif".encode(),
    "cafe\u0301.tif".encode(),
    b"C:\\boot.tif",
    b"%2e%2e%2fetc.tif",
    b"con.tif",
    b"a" * 251 + b".tif",
    "\u202egpj.tif".encode(),
]
TWINS = ["peh-0009.tif", "PEH-0009.tif"]


def tiff_with(entries, body=b""):
    """Return a little-endian TIFF of one directory of (tag, type, count, value), then `body`."""
    packed = b"".join(struct.pack("<HHII", *entry) for entry in entries)
    return b"II*\0" + struct.pack("<IH", 8, len(entries)) + packed + struct.pack("<I", 0) + body


def looping_tiff():
    entries = [(256, 4, 1, 8), (257, 4, 1, 8)]
    packed = b"".join(struct.pack("<HHII", *entry) for entry in entries)
    return b"II*\0" + struct.pack("<IH", 8, 2) + packed + struct.pack("<I", 8)


def huge_tiff(side):
    return tiff_with(
        [
            (256, 4, 1, side), (257, 4, 1, side), (258, 3, 1, 8), (259, 3, 1, 1), (262, 3, 1, 1),
            (273, 4, 1, 200), (277, 3, 1, 1), (278, 4, 1, side), (279, 4, 1, 64),
        ],
        b"\0" * 200,
    )  # fmt: skip


def bomb(path):
    """A sound TIFF of half a million bytes that unfolds into 361 million."""
    content = np.zeros((19000, 19000), np.uint8)
    tifffile.imwrite(path, content, compression="zlib", rowsperstrip=1000, photometric="minisblack")


CONTENTS = {
    "PEH-0020.tif": (lambda p: p.write_bytes(b""), "masters.truncated"),
    "PEH-0021.tif": (lambda p: p.write_bytes(bytes(4096)), "masters.damaged"),
    "PEH-0022.tif": (lambda p: p.write_text("Quay, 1906"), "masters.not_tiff"),
    "PEH-0023.tif": (lambda p: p.write_bytes(b"\xff\xd8\xff\xe0" * 50), "masters.not_tiff"),
    "PEH-0024.tif": (lambda p: p.write_text("<html>404</html>"), "masters.not_tiff"),
    "PEH-0025.tif": (lambda p: p.write_bytes(looping_tiff()), "masters.damaged"),
    "PEH-0026.tif": (lambda p: p.write_bytes(huge_tiff(1_000_000)), "masters.too_large"),
    "PEH-0027.tif": (lambda p: p.write_bytes(huge_tiff(9_000)), "masters.truncated"),
    "PEH-0028.tif": (bomb, "masters.too_thin"),
}


def fill(folder, outside):
    """Write all files of the hostile batch; return {shown path: code} of those without an id."""
    for number, item in enumerate(GOOD, 1):
        batches.write_master(folder / f"{item}.tif", number)
    batches.write_lists(folder, [])
    for number, name in enumerate(NAMES):
        target = batches.write_master(folder / "new.tif", 30 + number)
        target.rename(folder / os.fsdecode(name))
    for number, name in enumerate(TWINS):
        batches.write_master(folder / name, 60 + number)
    for name, (make, _) in CONTENTS.items():
        make(folder / name)
    (folder / "PEH-0040.tif").symlink_to(outside)
    (folder / "PEH-0041.tif").symlink_to("/dev/zero")
    os.mkfifo(folder / "PEH-0042.tif")
    with socket.socket(socket.AF_UNIX) as listening:
        here = os.open(folder, os.O_RDONLY)
        listening.bind(f"/proc/self/fd/{here}/PEH-0043.tif")
        os.close(here)
    (folder / "PEH-0044.tif").mkdir()
    (folder / "up").symlink_to(folder.parent)
    os.link(outside, folder / "PEH-0045.tif")
    items = [*GOOD, "peh-0009", "PEH-0009", *(name[:8] for name in CONTENTS), "PEH-0045"]
    with (folder / "catalogue.csv").open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out)
        writer.writerow(["item_id", "title", "description", "date"])
        writer.writerows([item, TITLE, FORMULA, "1906"] for item in items)
        writer.writerow(["../../etc/x", "out", "", ""])


@pytest.fixture(scope="module")
def night(tmp_path_factory):
    root = tmp_path_factory.mktemp("hostile")
    outside = root / "outside.tif"
    outside.write_text("a secret of somebody else")
    studio = Studio(root / "studio")
    folder = studio.masters / "hostile"
    folder.mkdir()
    fill(folder, outside)
    kept = {path: path.stat() for path in folder.iterdir() if path.is_file()}
    beside = sorted(root.iterdir())
    settings = ('delivery={"when": "passed"}', 'intake={"unlisted": "review"}')
    outcome = studio.night("--config", *settings)
    assert sorted(root.iterdir()) == beside
    for path, status in kept.items():
        assert path.stat().st_mtime_ns == status.st_mtime_ns
    return studio, outcome


def held(studio):
    found = {}
    for path in (studio.root / "results" / "hostile" / "items").glob("*/held.json"):
        for finding in json.loads(path.read_text("utf-8"))["findings"]:
            # The decoder's findings name the whole path.
            shown = finding["path"].removeprefix(f"{studio.masters}/hostile/")
            found.setdefault(shown, set()).add(finding["code"])
    return found


def test_the_good_are_done_and_delivered_and_the_run_says_that_not_all_is(night):
    studio, outcome = night
    assert outcome.code == 1
    assert "Traceback" not in outcome.text
    delivered = {path.name for path in (studio.root / "deliveries/hostile/data").iterdir()}
    assert delivered == set(GOOD)


def test_nothing_was_run(night):
    studio, _ = night
    assert not list(studio.root.rglob("PWNED"))


def test_each_odd_name_is_told_once_and_in_print(night):
    studio, _ = night
    told = held(studio)
    # Names that any disk and package can keep, but that tell no item.
    plain = {"-rf.tif", "con.tif", "$(touch PWNED).tif", "`touch PWNED`.tif", "café.tif"}
    for name in NAMES:
        shown = name.decode("utf-8", "backslashreplace")
        wanted = {"naming.off_template"} if shown in plain else {"intake.entry"}
        assert told.get(shown) == wanted or told.get(repr(shown)) == wanted, (shown, told)


def test_each_bad_content_holds_its_item_with_the_reason(night):
    studio, _ = night
    told = held(studio)
    for name, (_, code) in CONTENTS.items():
        assert told[name] == {code}, (name, told[name])


@pytest.mark.parametrize("number", [40, 41, 42, 43])
def test_links_devices_pipes_and_sockets_are_not_opened(night, number):
    studio, _ = night
    assert held(studio)[f"PEH-00{number}.tif"] == {"intake.entry"}


def test_a_hard_link_is_judged_by_its_content(night):
    studio, _ = night
    assert held(studio)["PEH-0045.tif"] == {"masters.not_tiff"}


def test_items_that_differ_in_case_are_both_held(night):
    studio, _ = night
    told = held(studio)
    assert all("intake.names_collide" in told[name] for name in ("peh-0009", "PEH-0009"))


def test_nothing_of_a_file_outside_is_in_what_was_made(night):
    studio, _ = night
    for path in studio.root.rglob("*"):
        if path.is_file() and not path.is_symlink() and "masters" not in path.parts:
            assert b"a secret of somebody else" not in path.read_bytes(), path


def test_hostile_text_is_inert_everywhere(night):
    studio, _ = night
    folder = studio.item("hostile", "PEH-0001")
    titles = etree.parse(folder / "METS.xml").xpath("//*[local-name()='title']/text()")
    assert TITLE in titles
    manifest = json.loads((folder / "manifest.json").read_text("utf-8"))
    shown = [text for texts in manifest["label"].values() for text in texts]
    assert shown == [TITLE]
    assert "summary" not in manifest or not str(manifest["summary"]).lstrip("{['").startswith("<")
    page = (studio.root / "results/hostile/report/index.html").read_text("utf-8")
    assert "<script>alert(1)" not in page


def test_no_cell_of_an_exported_table_is_a_formula(night):
    studio, _ = night
    tables = list((studio.root / "deliveries").rglob("*.csv"))
    assert tables
    for table in tables:
        with table.open(encoding="utf-8-sig", newline="") as stream:
            for row in csv.reader(stream):
                assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row)


def test_the_items_add_up(night):
    studio, outcome = night
    intake = json.loads((studio.root / "results/hostile/intake.json").read_text("utf-8"))
    names = {entry["item"] for entry in intake["items"]}
    stood = {
        path.parent.name for path in (studio.root / "results/hostile/items").glob("*/held.json")
    }
    assert stood | set(GOOD) == names
    assert not stood & set(GOOD)
    assert f"hostile: {len(names)} items" in outcome.text
