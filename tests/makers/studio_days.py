"""A studio's days as batch folders (all invented), with each file's fate as a person decides it.

A fate is written in one line:

    PEH-0001/emu/12A     goes on as that item, part, number (`//3` has a number and no part)
    PEH-0001/emu?        the same, but for review
    =PEH-0001            a separator's own picture, a preview or raw file, or a former capture, that
                         belongs to that item and is none of its captures
    held                 neither delivered nor dropped: a person must act
    -                    no picture: a list, a table, or left out

`FIRST` were written by someone who had not read the code that judges them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.makers import session

APPLE_DOUBLE = bytes.fromhex("0005160700020000") + b"Mac OS X        " + bytes(26)
JPEG = b"\xff\xd8\xff\xe0" + bytes(60)
RAW = b"II*\0\x08\0\0\0" + bytes(60)
SMALL = (220, 330)


@dataclass
class Day:
    """A batch folder under way: what is in it, the settings it needs, and what must become of it."""

    root: Path
    settings: dict[str, Any] = field(default_factory=dict)
    fates: dict[str, str] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)
    surplus: list[str] = field(default_factory=list)
    second: int = 0
    seed: int = 0

    def film(self, path: str, fate: str, seed: int | None = None, second: int | None = None) -> None:
        """A negative; every one is another picture but where `seed` is stated."""
        self.seed += 1
        self.second += 20
        picture = session.film(self.seed if seed is None else seed, SMALL)
        session.write(self.root / path, picture, self.second if second is None else second)
        self.fates[path] = fate

    def again(self, path: str, of: str, fate: str) -> None:
        """The same scene once more: not the same bytes."""
        self.second += 20
        seed = self._seeds()[of]
        session.write(self.root / path, session.film(seed, SMALL) + 1, self.second)
        self.fates[path] = fate

    def sleeve(self, path: str, code: str, fate: str, **more: Any) -> None:
        self.second += 20
        self.seed += 1
        picture = session.sleeve(code, seed=self.seed, **more)
        session.write(self.root / path, picture, self.second)
        self.fates[path] = fate

    def put(self, path: str, content: bytes | str, fate: str = "-") -> None:
        target = self.root / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content.encode() if isinstance(content, str) else content)
        self.fates[path] = fate

    def copy(self, path: str, of: str, fate: str) -> None:
        self.put(path, (self.root / of).read_bytes(), fate)

    def md5(self, path: str, names: Iterable[str], line: str = "{digest}  {name}\n") -> None:
        lines = [
            line.format(
                digest=hashlib.md5((self.root / name).read_bytes()).hexdigest(), name=name
            )
            for name in names
        ]
        self.put(path, "".join(lines))

    def _seeds(self) -> dict[str, int]:
        return {path: number for number, path in enumerate(self.fates, 1)}


def rows(header: str, *lines: str, end: str = "\n") -> str:
    return end.join([header, *lines, ""])


def windows(day: Day) -> None:
    """A Windows station: spaces, capitals, an md5 list with backslashes, a German table."""
    for number in ("0001", "0002", "0003"):
        day.film(f"PEH {number}.TIF", f"PEH-{number}")
    day.md5("checksums.md5", ["PEH 0001.TIF", "PEH 0002.TIF", "PEH 0003.TIF"], "{digest} *{name}\r\n")
    day.put("Thumbs.db", b"\xd0\xcf\x11\xe0")
    day.put("desktop.ini", "[.ShellClassInfo]\r\n")
    day.put("~$liste.xlsx", b"lock")
    table = rows(
        "Inventarnummer;Titel;Datierung",
        *(f"PEH-{n};Hafen, Mole {n};1921" for n in ("0001", "0002", "0003")),
        end="\r\n",
    )
    day.put("catalogue.csv", table.replace("Mole", "Außenmole").encode("cp1252"))
    day.settings = {
        "naming": {"pattern": r"PEH (?P<number>[0-9]{4})\.TIF", "item": "PEH-{number}"},
        "catalogue": {
            "columns": {"item_id": "Inventarnummer", "title": "Titel", "date": "Datierung"}
        },
    }


def mac_days(day: Day) -> None:
    """A folder a day, the camera's counter begins anew in each; traces of macOS everywhere."""
    for date in ("2026-03-16", "2026-03-17"):
        for number in ("0001", "0002"):
            day.film(f"{date}/IMG_{number}.tif", f"{date}-{number}")
            day.put(f"{date}/._IMG_{number}.tif", APPLE_DOUBLE)
        day.put(f"{date}/.DS_Store", b"\0\0\0\1Bud1")
    day.put(".DS_Store", b"\0\0\0\1Bud1")
    day.put("__MACOSX/2026-03-16/._IMG_0001.tif", APPLE_DOUBLE)
    day.put(".Spotlight-V100/store.db", b"x")
    lines = [
        f"{date}/{n},Quay {n}" for date in ("2026-03-16", "2026-03-17") for n in ("0001", "0002")
    ]
    day.put("catalogue.csv", rows("item_id,title", *lines))
    day.settings = {
        "naming": {
            "pattern_of": "path",
            "pattern": r"(?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})/IMG_(?P<number>[0-9]{4})\.tif",
            "item": "{day}-{number}",
            "same_number": {"marks": "/-"},
        }
    }


def accession_slash(day: Day) -> None:
    """1987.23/45 in the catalogue, 1987.23-0045 in the name; a slip of the pen among them."""
    day.film("1987.23-0045.tif", "1987.23-0045")
    day.film("1987.23-0046_recto.tif", "1987.23-0046/recto")
    day.film("1987.23-0046_verso.tif", "1987.23-0046/verso")
    day.film("1987.32-0047.tif", "held")
    day.put(
        "catalogue.csv",
        rows("item_id,title", "1987.23/45,Pier", "1987.23/46,Crane", "1987.23/47,Lock"),
    )
    day.missing = ["1987.23-47"]
    day.surplus = ["1987.32-0047"]
    day.settings = {
        "naming": {
            "pattern": r"(?P<item>[0-9]{4}\.[0-9]+-[0-9]+)(?:_(?P<part>[a-z]+))?\.tif",
            "parts": {"recto": "emulsion", "verso": "base"},
            "same_number": {"marks": "/-", "leading_zeros": True},
        }
    }


def roll_as_one(day: Day) -> None:
    """One item a roll, many canvases: 00, 0, 0A, 1 .. 5, 5A, 6; 3 is not there."""
    for number in ("00", "0", "0A", "1", "2", "4", "5", "5A", "6"):
        day.film(f"R017_{number}.tif", f"R017//{number}?")
    for number in ("1", "2", "3"):
        day.film(f"R018_{number}.tif", f"R018//{number}")
    day.put("catalogue.csv", rows("item_id,title", "R017,Roll 17", "R018,Roll 18"))
    day.settings = {
        "naming": {"pattern": r"(?P<item>R[0-9]{3})_(?P<sequence>[0-9]+A?)\.tif"}
    }


def roll_of_items(day: Day) -> None:
    """Many items of one roll, numbered by frame; one frame used twice, agreed count 5."""
    for number in ("1", "2", "3", "4", "5"):
        day.film(f"film_031_{number}.tif", f"F031-{number}")
    day.put(
        "catalogue.csv",
        rows("item_id,title", *(f"F031-{n},Frame {n}" for n in range(1, 6))),
    )
    day.put("batch.yaml", 'items:\n- match: "F031"\n  captures: 5\n')
    day.settings = {
        "naming": {
            "pattern": r"film_(?P<number>[0-9]{3})_(?P<place>[0-9]+A?)\.tif",
            "item": "F{number}-{place}",
        }
    }


def sleeves(day: Day) -> None:
    """Camera names; a sleeve with a code before each group, in any position; one unreadable."""
    day.sleeve("DSC_0101.tif", "PEH-0401", "=PEH-0401", form="qr", degrees=20)
    day.film("DSC_0102.tif", "PEH-0401")
    day.film("DSC_0103.tif", "PEH-0401")
    day.sleeve("DSC_0104.tif", "PEH-0402", "=PEH-0402", form="code128", degrees=33)
    day.film("DSC_0105.tif", "PEH-0402")
    day.sleeve("DSC_0106.tif", "PEH-0403", "held", readable=False)
    day.film("DSC_0107.tif", "held")
    day.film("DSC_0108.tif", "held")
    day.sleeve("DSC_0109.tif", "PEH-0404", "=PEH-0404", form="datamatrix", degrees=271)
    day.film("DSC_0110.tif", "PEH-0404")
    day.put(
        "catalogue.csv",
        rows("item_id,title", *(f"PEH-040{n},Harbour {n}" for n in range(1, 5))),
    )
    day.settings = {"naming": {"identify": ["name", "catalogue", "separator"]}}


def retakes(day: Day) -> None:
    """The table's ways to say 'once more': _v2, (2), _retake; one that shows something else."""
    day.film("PEH-0501.tif", "=PEH-0501", seed=501)
    day.film("PEH-0501_v2.tif", "PEH-0501", seed=501)
    day.film("PEH-0502.tif", "=PEH-0502", seed=502)
    day.film("PEH-0502 (2).tif", "PEH-0502", seed=502)
    day.film("PEH-0503.tif", "=PEH-0503", seed=503)
    day.film("PEH-0503_retake.tif", "PEH-0503", seed=503)
    day.film("PEH-0504.tif", "held", seed=504)
    day.film("PEH-0504_v2.tif", "held", seed=604)
    day.film("PEH-0505.tif", "PEH-0505", seed=505)
    day.put(
        "catalogue.csv",
        rows("item_id,title", *(f"PEH-050{n},Harbour {n}" for n in range(1, 6))),
    )
    day.settings = {"intake": {"retakes": "keep"}}


def raw_beside(day: Day) -> None:
    """TIFFs with what the camera and a converter leave beside them."""
    for number in ("0601", "0602"):
        day.film(f"PEH-{number}.tif", f"PEH-{number}")
        day.put(f"PEH-{number}.jpg", JPEG, f"=PEH-{number}")
        day.put(f"raw/PEH-{number}.NEF", RAW, f"=PEH-{number}")
        day.put(f"PEH-{number}.xmp", "<x:xmpmeta xmlns:x='adobe:ns:meta/'/>")
    day.put("PEH-0603.jpg", JPEG, "held")
    day.put("evening.session", b"x")
    day.put("notes.txt", "lamp changed after lunch\n")
    day.put("catalogue.csv", rows("item_id,title", "PEH-0601,A", "PEH-0602,B", "PEH-0603,C"))


def parts_in_words(day: Day) -> None:
    """Front, back, envelope and the whole object; an envelope alone, a back alone."""
    day.film("ALB-7-front.tif", "ALB-7/front")
    day.film("ALB-7-back.tif", "ALB-7/back")
    day.film("ALB-7-env.tif", "ALB-7/env")
    day.film("ALB-7-all.tif", "ALB-7/all")
    day.film("ALB-8-env.tif", "held")
    day.film("ALB-9-back.tif", "held")
    day.put("catalogue.csv", rows("item_id,title", "ALB-7,A", "ALB-8,B", "ALB-9,C"))
    day.settings = {
        "naming": {
            "pattern": r"(?P<item>ALB-[0-9]+)-(?P<part>[a-z]+)\.tif",
            "parts": {"front": "emulsion", "back": "base", "env": "envelope", "all": "object"},
        }
    }


def pull_list(day: Day) -> None:
    """Numbers alone, with zeros; the pull list has shelf marks and one more, one less."""
    day.film("000123.tif", "000123")
    day.film("000124.tif", "000124")
    day.film("000199.tif", "000199?")
    day.put("pull-list.csv", rows("item_id,shelf_mark", "123,B3/1", "124,B3/2", "125,B3/3"))
    day.put("catalogue.csv", rows("item_id,title", "123,A", "124,B", "125,C", "199,D"))
    day.missing = ["125"]
    day.surplus = ["000199"]
    day.settings = {
        "naming": {
            "pattern": r"(?P<item>[0-9]{6})\.tif",
            "same_number": {"leading_zeros": True},
        }
    }


def exports(day: Day) -> None:
    """Masters, access copies and proofs in folders of their own, the list inside the first."""
    for number in ("0701", "0702"):
        day.film(f"masters/PEH-{number}.tif", f"PEH-{number}")
        day.put(f"access/PEH-{number}.jpg", JPEG, f"=PEH-{number}")
        day.film(f"proof/PEH-{number}_small.tif", "-")
    listed = []
    for number in ("0701", "0702"):
        digest = hashlib.sha256((day.root / f"masters/PEH-{number}.tif").read_bytes()).hexdigest()
        listed.append(f"{digest}  PEH-{number}.tif")
    day.put("masters/SHA256SUMS", "\n".join(listed) + "\n")
    day.put("read me.pdf", b"%PDF-1.4\n")
    day.put("catalogue.csv", rows("item_id,title", "PEH-0701,A", "PEH-0702,B"))
    day.settings = {"intake": {"ignore": ["*_small.tif", ".DS_Store"]}}


def two_stations(day: Day) -> None:
    """Two cameras with one counter; the catalogue says which file is which item's."""
    day.film("A/0001.tif", "PEH-0801")
    day.film("A/0002.tif", "PEH-0802")
    day.film("B/0001.tif", "PEH-0803")
    day.film("B/0002.tif", "held")
    day.put(
        "catalogue.csv",
        rows(
            "item_id,title,files", "PEH-0801,A,A/0001.tif", "PEH-0802,B,A/0002.tif",
            "PEH-0803,C,B/0001.tif",
        ),
    )
    day.settings = {
        "naming": {"identify": ["catalogue"]},
        "catalogue": {"columns": {"masters": "files"}},
    }


def mixed(day: Day) -> None:
    """Two schemes at once, a copy of the same bytes, a name nobody gave."""
    day.film("ell_12_034.tif", "PEH-12-034")
    day.film("PEH-12-035.tif", "PEH-12-035")
    day.film("PEH-12-036.tif", "held")
    day.copy("Copy of PEH-12-036.tif", "PEH-12-036.tif", "held")
    day.film("untitled.tif", "held")
    day.put(
        "catalogue.csv",
        rows("item_id,title", "PEH-12-034,A", "PEH-12-035,B", "PEH-12-036,C"),
    )
    day.settings = {
        "naming": {
            "pattern": [
                r"ell_(?P<box>[0-9]{2})_(?P<number>[0-9]{3})\.tif",
                r"PEH-(?P<box>[0-9]{2})-(?P<number>[0-9]{3})\.tif",
            ],
            "item": "PEH-{box}-{number}",
        }
    }


def strips_in_order(day: Day) -> None:
    """Ten captures of one item, numbered without zeros: 10 comes last."""
    for number in range(1, 11):
        day.film(f"PEH-0900_{number}.tif", f"PEH-0900//{number}")
    day.put("catalogue.csv", rows("item_id,title", "PEH-0900,Strips"))


FIRST: dict[str, Callable[[Day], None]] = {
    made.__name__: made
    for made in (
        windows, mac_days, accession_slash, roll_as_one, roll_of_items, sleeves, retakes,
        raw_beside, parts_in_words, pull_list, exports, two_stations, mixed, strips_in_order,
    )
}


def make(name: str, root: Path) -> Day:
    day = Day(root)
    root.mkdir(parents=True)
    FIRST[name](day)
    return day
