"""Batch folders in the manner of studios (all invented): naming schemes, catalogues, side files.

Each maker fills an empty folder with masters that intake and verify read for real.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
import tifffile

APPLE_DOUBLE = bytes.fromhex("0005160700020000") + b"Mac OS X        " + bytes(26)
JPEG = b"\xff\xd8\xff\xe0" + bytes(60)
RAW = b"II*\0\x08\0\0\0" + bytes(60)


class Folder:
    """One batch folder under way; every master has pixels of its own."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._tone = 0

    def masters(self, names: Iterable[str], dtype: type = np.uint16) -> None:
        for name in names:
            self._tone += 1
            (self.path / name).parent.mkdir(parents=True, exist_ok=True)
            rows = np.arange(12 * 16 * 3).reshape(12, 16, 3) * 5 + self._tone
            tifffile.imwrite(self.path / name, (rows % 200).astype(dtype), photometric="rgb")

    def put(self, name: str, content: bytes | str) -> None:
        (self.path / name).parent.mkdir(parents=True, exist_ok=True)
        data = content if isinstance(content, bytes) else content.encode()
        (self.path / name).write_bytes(data)

    def listed(self, name: str, algorithm: str, *, windows: bool = False, but: str = "") -> None:
        """Write a checksum list of all TIFF files but one."""
        lines = []
        for path in sorted(self.path.rglob("*.[tT][iI][fF]")):
            if path.name in (but,) or path.name.startswith("._"):
                continue
            digest = hashlib.new(algorithm, path.read_bytes()).hexdigest()
            shown = str(path.relative_to(self.path))
            shown = shown.replace("/", "\\") if windows else shown
            lines.append(f"{digest.upper() if windows else digest} *{shown}")
        self.put(name, ("\r\n" if windows else "\n").join(lines) + "\n")


def plain(folder: Folder) -> None:
    folder.masters(f"PEH-{n:04d}.tif" for n in range(1, 6))
    folder.put("catalogue.csv", "item_id,title\n" + rows("PEH-{:04d}", range(1, 7)))
    folder.put("notes from the studio.txt", "lamp changed at noon\n")
    folder.listed("manifest-sha256.txt", "sha256", but="PEH-0005.tif")


def windows(folder: Folder) -> None:
    """A capture station under Windows: md5 list with backslashes, thumbnails, capitals."""
    folder.masters(f"FILM\\{n}".replace("\\", "/") + ".TIF" for n in (101, 102, 103))
    folder.put("Katalog.csv", "Inv-Nr;Titel;Datum\r\n" + rows("{}", (101, 102, 103), ";", ";1931"))
    folder.put("Thumbs.db", b"\xd0\xcf\x11\xe0")
    folder.put("FILM/desktop.ini", "[.ShellClassInfo]\r\n")
    folder.listed("checksums.md5", "md5", windows=True)


def macos(folder: Folder) -> None:
    names = [f"peh_{n:04d}_master.tif" for n in (1, 2, 3)]
    folder.masters(names)
    for name in (*names, "catalogue.csv"):
        folder.put(f"._{name}", APPLE_DOUBLE)
    folder.put(".DS_Store", b"\0\0\0\1Bud1")
    folder.put("__MACOSX/._peh_0001_master.tif", APPLE_DOUBLE)
    folder.put("catalogue.csv", "accession_number,caption\n" + rows("{:04d}", (1, 2, 3)))


def inventory(folder: Folder) -> None:
    """Numbers as a register has them: 1987.23/45 there, PEH_1987-0023_0045 here."""
    folder.masters(f"PEH_1987-0023_{n:04d}.tif" for n in range(45, 50))
    folder.put("catalogue.csv", "item_id,title\n" + rows("1987.23/{}", range(45, 50)))


def parts(folder: Folder) -> None:
    folder.masters(
        f"PEH{n:05d}-{part}.tif" for n in (7, 8) for part in ("recto", "verso", "sleeve")
    )
    folder.masters(["PEH00009-recto.tif", "loose sheet.tif"])
    folder.put("catalogue.csv", "item_id,title\n" + rows("PEH{:05d}", (7, 8, 9)))


def previews(folder: Folder) -> None:
    folder.masters(f"PEH-{n:04d}.tif" for n in (1, 2, 3))
    for n in (1, 2, 3):
        folder.put(f"PEH-{n:04d}.jpg", JPEG)
        folder.put(f"raw/PEH-{n:04d}.nef", RAW)
    folder.put("PEH-0004.jpg", JPEG)
    folder.put("catalogue.csv", "item_id,title\n" + rows("PEH-{:04d}", (1, 2, 3, 4)))


def days(folder: Folder) -> None:
    for day in ("2026-03-14", "2026-03-15"):
        folder.masters(f"{day}/{n:04d}.tif" for n in (1, 2, 3))
    numbers = [f"{day}-{n:04d}" for day in ("2026-03-14", "2026-03-15") for n in (1, 2, 3)]
    folder.put("catalogue.csv", "item_id,title\n" + "".join(f"{n},Quay\n" for n in numbers))


def rolls(folder: Folder) -> None:
    folder.masters(f"R{roll:03d}_{n:02d}.tif" for roll in (12, 13) for n in (1, 2, 3))
    folder.put("catalogue.csv", "roll,title\nR012,Harbour\nR013,Mole\n")


def camera(folder: Folder) -> None:
    """Names as the camera counts: only a person, or a label, knows the item."""
    folder.masters(f"DSC_{n}.tif" for n in (4711, 4712))
    folder.put("catalogue.csv", "item_id,title\n" + rows("PEH-{:04d}", (1, 2)))


def formats(folder: Folder) -> None:
    """Masters that a header refuses, or that are none."""
    folder.masters(["PEH-0001.tif"])
    folder.masters(["PEH-0002.tif"], np.uint32)
    folder.masters(["PEH-0003.tif"], np.float32)
    folder.put("PEH-0004.tif", JPEG)
    folder.put("PEH-0005.tif", b"")
    folder.masters(["PEH-0006.tif.part.tif"])
    (folder.path / "PEH-0006.tif.part.tif").rename(folder.path / "PEH-0006.tif.part")
    folder.put("catalogue.csv", "item_id,title\n" + rows("PEH-{:04d}", range(1, 7)))


def table_elsewhere(folder: Folder) -> None:
    """An export under a name of its own, in Windows-1252; dates before the numbers."""
    folder.masters(f"20260314_box 3_PE{n:03d}.tif" for n in (1, 2, 3))
    text = "Signatur;Titel;Fotograf\n" + "".join(f"PE{n:03d};K\xe4he;J. Holm\n" for n in (1, 2, 3))
    folder.put("export 2026.csv", text.encode("cp1252"))


def retakes(folder: Folder) -> None:
    folder.masters([f"PEH-{n:04d}.tif" for n in (1, 2)])
    folder.masters(["PEH-0002_v2.tif", "PEH-0001 (2).tif"])
    folder.put("~$catalogue.xlsx", "lock")
    folder.put("upload.tmp", b"")
    folder.put("catalogue.csv", "item_id,title\n" + rows("PEH-{:04d}", (1, 2)))


def mixed(folder: Folder) -> None:
    """Names off the template, and among them a master whose header is refused."""
    folder.masters(["neg 0001 .tif", "neg 0002 .tif"])
    folder.masters(["neg 0003 .tif"], np.float32)
    folder.put("catalogue.csv", "Inventory No;Caption\n" + rows("{:04d}", (1, 2, 3), ";"))


def rows(form: str, numbers: Iterable[int], mark: str = ",", more: str = "") -> str:
    return "".join(f"{form.format(n)}{mark}Quay {n}{more}\n" for n in numbers)


STUDIOS: dict[str, Callable[[Folder], None]] = {
    make.__name__: make
    for make in (
        plain, windows, macos, inventory, parts, previews, days, rolls, camera, formats,
        table_elsewhere, retakes, mixed,
    )
}  # fmt: skip
