"""A studio's days as batch folders (all invented), with each file's fate as a person decides it.

A fate is written in one line:

    PEH-0001/emu/12A     goes on as that item, part, number (`//3` has a number and no part)
    PEH-0001/emu?        the same, but for review
    PEH-0001/sleeve      a separator's own picture, kept with the item
    =PEH-0001            a preview or raw file, or a former capture, that belongs to that item and is
                         none of its captures
    held                 neither delivered nor dropped: a person must act
    -                    no picture: a list, a table, or left out
    waits                done; the delivery of the batch is held as a whole

`FIRST` were written by someone who had not read the code that judges them.
"""

from __future__ import annotations

import functools
import hashlib
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from makers import session

APPLE_DOUBLE = bytes.fromhex("0005160700020000") + b"Mac OS X        " + bytes(26)
JPEG = b"\xff\xd8\xff\xe0" + bytes(60)
RAW = b"II*\0\x08\0\0\0" + bytes(60)
SMALL = (220, 330)


@dataclass
class Day:
    """A batch folder under way: what is in it, the settings it needs, and what must become of it.

    by_night: fates that only a night can tell, as it reads digests and pixels.
    """

    root: Path
    settings: dict[str, Any] = field(default_factory=dict)
    fates: dict[str, str] = field(default_factory=dict)
    by_night: dict[str, str] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)
    surplus: list[str] = field(default_factory=list)
    second: int = 0
    seed: int = 0

    def film(
        self, path: str, fate: str, seed: int | None = None, second: int | None = None
    ) -> None:
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
            line.format(digest=hashlib.md5((self.root / name).read_bytes()).hexdigest(), name=name)
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
    day.md5(
        "checksums.md5", ["PEH 0001.TIF", "PEH 0002.TIF", "PEH 0003.TIF"], "{digest} *{name}\r\n"
    )
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
    day.film("1987.23-0046_recto.tif", "1987.23-0046/emulsion")
    day.film("1987.23-0046_verso.tif", "1987.23-0046/base")
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
    day.settings = {"naming": {"pattern": r"(?P<item>R[0-9]{3})_(?P<sequence>[0-9]+A?)\.tif"}}


def roll_of_items(day: Day) -> None:
    """Many items of one roll, numbered by frame; one frame used twice, agreed count 5."""
    for number in ("1", "2", "3", "4", "5"):
        day.film(f"film_031_{number}.tif", f"F031-{number}")
    day.put(
        "catalogue.csv",
        rows("item_id,title", *(f"F031-{n},Frame {n}" for n in range(1, 6))),
    )
    day.put("batch.yaml", 'items:\n- match: "031"\n  captures: 5\n')
    day.settings = {
        "naming": {
            "pattern": r"film_(?P<roll>[0-9]{3})_(?P<place>[0-9]+A?)\.tif",
            "item": "F{roll}-{place}",
        }
    }


def sleeves(day: Day) -> None:
    """Camera names; a sleeve with a code before each group, in any position; one unreadable."""
    day.sleeve("DSC_0101.tif", "PEH-0401", "PEH-0401/sleeve", form="qr", degrees=20)
    day.film("DSC_0102.tif", "PEH-0401//01")
    day.film("DSC_0103.tif", "PEH-0401//02")
    day.sleeve("DSC_0104.tif", "PEH-0402", "PEH-0402/sleeve?", form="code128", degrees=33)
    day.film("DSC_0105.tif", "PEH-0402//01?")
    day.sleeve("DSC_0106.tif", "PEH-0403", "held", readable=False)
    day.film("DSC_0107.tif", "held")
    day.film("DSC_0108.tif", "held")
    day.sleeve("DSC_0109.tif", "PEH-0404", "PEH-0404/sleeve", form="datamatrix", degrees=271)
    day.film("DSC_0110.tif", "PEH-0404//01")
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
    day.film("ALB-7-front.tif", "ALB-7/emulsion")
    day.film("ALB-7-back.tif", "ALB-7/base")
    day.film("ALB-7-env.tif", "ALB-7/envelope")
    day.film("ALB-7-all.tif", "ALB-7/object")
    day.film("ALB-8-env.tif", "ALB-8/envelope?")
    day.film("ALB-9-back.tif", "ALB-9/base?")
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
            "item_id,title,files",
            "PEH-0801,A,A/0001.tif",
            "PEH-0802,B,A/0002.tif",
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
        windows,
        mac_days,
        accession_slash,
        roll_as_one,
        roll_of_items,
        sleeves,
        retakes,
        raw_beside,
        parts_in_words,
        pull_list,
        exports,
        two_stations,
        mixed,
        strips_in_order,
    )
}


# ------------------------------------------------- written by someone who had read the code


def labels_in_the_picture(day: Day) -> None:
    """Camera names; each capture shows its item's label, at any angle; one cannot be read, and the
    one before it may be a separator."""
    for place, (form, degrees) in enumerate(
        [("qr", 45), ("datamatrix", 130), ("code128", 12), ("code39", 90)], 1
    ):
        day.sleeve(f"CAM{place:04d}.tif", f"PEH-1{place:02d}", "held" if place == 4 else f"PEH-1{place:02d}", form=form,
                   degrees=degrees)  # fmt: skip
    day.sleeve("CAM0005.tif", "PEH-105", "held", readable=False)
    day.put("catalogue.csv", rows("item_id,title", *(f"PEH-10{n},A" for n in range(1, 6))))


def label_against_name(day: Day) -> None:
    """A name that the catalogue does not know, and a label that says another item."""
    day.sleeve("PEH-0999.tif", "PEH-0201", "PEH-0201?", form="qr")
    day.film("PEH-0202.tif", "PEH-0202")
    day.put("catalogue.csv", rows("item_id,title", "PEH-0201,A", "PEH-0202,B"))


def separators_in_two_folders(day: Day) -> None:
    """A folder a day, each with its own separators; one capture came before the first."""
    day.film("day1/S0001.tif", "held")
    day.sleeve("day1/S0002.tif", "PEH-0301", "PEH-0301/sleeve", form="qr", degrees=200)
    day.film("day1/S0003.tif", "PEH-0301//01")
    day.sleeve("day2/S0001.tif", "PEH-0302", "PEH-0302/sleeve", form="datamatrix")
    day.film("day2/S0002.tif", "PEH-0302//01")
    day.film("day2/S0003.tif", "PEH-0302//02")
    day.put("catalogue.csv", rows("item_id,title", "PEH-0301,A", "PEH-0302,B"))
    day.settings = {"naming": {"identify": ["name", "catalogue", "separator"]}}


def a_sleeve_alone(day: Day) -> None:
    """Two sleeves in a row: the first item has no capture at all."""
    day.sleeve("S0001.tif", "PEH-0311", "PEH-0311/sleeve?", form="qr")
    day.sleeve("S0002.tif", "PEH-0312", "PEH-0312/sleeve", form="qr", degrees=15)
    day.film("S0003.tif", "PEH-0312//01")
    day.put("catalogue.csv", rows("item_id,title", "PEH-0311,A", "PEH-0312,B"))
    day.settings = {"naming": {"identify": ["name", "catalogue", "separator"]}}


def separators_left_out(day: Day) -> None:
    """The studio does not keep the separators' pictures."""
    day.sleeve("S0001.tif", "PEH-0321", "=PEH-0321", form="qr")
    day.film("S0002.tif", "PEH-0321//01")
    day.put("catalogue.csv", rows("item_id,title", "PEH-0321,A"))
    day.settings = {
        "naming": {
            "identify": ["name", "catalogue", "separator"],
            "separators": {"picture": "leave_out"},
        }
    }


def decided_by_hand(day: Day) -> None:
    """corrections.yaml names the item of several files, and of a sleeve that nobody could read."""
    day.film("x1.tif", "PEH-0331//1")
    day.film("x2.tif", "PEH-0331//2")
    day.film("x3.tif", "held")
    day.put(
        "corrections.yaml",
        "corrections:\n- item: PEH-0331\n  identity:\n"
        "  - {master: x1.tif, item: PEH-0331, sequence: '1'}\n"
        "  - {master: x2.tif, item: PEH-0331, sequence: '2'}\n",
    )
    day.put("catalogue.csv", rows("item_id,title", "PEH-0331,A"))


def retakes_in_folders(day: Day) -> None:
    """Captured again on another day, in a folder of that day; the camera's clock says which."""
    day.film("monday/PEH-0341.tif", "=PEH-0341", seed=341)
    day.film("tuesday/PEH-0341.tif", "PEH-0341", seed=341)
    day.film("monday/PEH-0342.tif", "held", seed=342, second=50)
    day.film("tuesday/PEH-0342.tif", "held", seed=342, second=50)
    day.film("monday/PEH-0343.tif", "held", seed=343)
    day.film("tuesday/PEH-0343.tif", "held", seed=344)
    day.put("catalogue.csv", rows("item_id,title", *(f"PEH-034{n},A" for n in (1, 2, 3))))
    day.settings = {"intake": {"retakes": "keep"}}


def retakes_left_out(day: Day) -> None:
    """The former capture is no part of the record."""
    day.film("PEH-0351.tif", "=PEH-0351", seed=351)
    day.film("PEH-0351_v2.tif", "=PEH-0351", seed=351)
    day.film("PEH-0351_v3.tif", "PEH-0351", seed=351)
    day.put("catalogue.csv", rows("item_id,title", "PEH-0351,A"))
    day.settings = {"intake": {"retakes": "leave_out"}}


def retakes_not_allowed(day: Day) -> None:
    """The settings say nothing of retakes: two captures of one thing wait for a person."""
    day.film("PEH-0361.tif", "held", seed=361)
    day.film("PEH-0361_v2.tif", "held", seed=361)
    day.film("PEH-0362.tif", "PEH-0362")
    day.put("catalogue.csv", rows("item_id,title", "PEH-0361,A", "PEH-0362,B"))


def frames_twice(day: Day) -> None:
    """Frame 12 and 12A are two; frame 3 is there twice, under two spellings."""
    for number in ("11", "12", "12A", "13"):
        day.film(f"R021_{number}.tif", f"R021//{number}")
    for number in ("02", "03", "3", "04"):
        day.film(f"R022_{number}.tif", "held")
    day.put("catalogue.csv", rows("item_id,title", "R021,A", "R022,B"))
    day.settings = {"naming": {"pattern": r"(?P<item>R[0-9]{3})_(?P<sequence>[0-9]+A?)\.tif"}}


def what_systems_leave(day: Day) -> None:
    """Traces of Windows, macOS, a network disk and an office program; a copy under way."""
    day.film("PEH-0371.tif", "PEH-0371")
    for name in (
        "Thumbs.db", "desktop.ini", ".DS_Store", "@eaDir/PEH-0371.tif/thumb.jpg", "Icon\r",
        "$RECYCLE.BIN/desktop.ini", "System Volume Information/x.dat", ".~lock.list.ods#",
        ".Trashes/501/old.jpg", ".fseventsd/0001", "upload.tmp", "__MACOSX/._PEH-0371.tif",
    ):  # fmt: skip
        day.put(name, b"x")
    day.put("._PEH-0371.tif", APPLE_DOUBLE)
    day.put("PEH-0372.tif.part", (day.root / "PEH-0371.tif").read_bytes()[:-9], "held")
    day.put("PEH-0371.tif~", (day.root / "PEH-0371.tif").read_bytes(), "held")
    day.put("catalogue.csv", rows("item_id,title", "PEH-0371,A", "PEH-0372,B"))


def digests_beside_each(day: Day) -> None:
    """A file with the digest beside each master; one master has none, one is not there."""
    for number in ("0381", "0382"):
        day.film(f"PEH-{number}.tif", f"PEH-{number}")
        digest = hashlib.md5((day.root / f"PEH-{number}.tif").read_bytes()).hexdigest()
        day.put(f"PEH-{number}.tif.md5", f"{digest}  PEH-{number}.tif\n")
    day.film("PEH-0383.tif", "held")
    day.put("PEH-0384.tif.md5", f"{0:032x}  PEH-0384.tif\n")
    day.put("catalogue.csv", rows("item_id,title", *(f"PEH-038{n},A" for n in (1, 2, 3, 4))))


def katalog(day: Day) -> None:
    """The table is named in the studio's own language."""
    day.film("PEH-0391.tif", "PEH-0391")
    day.put("Katalog.csv", rows("item_id;title", "PEH-0391;Hamnen"))


def table_of_another_name(day: Day) -> None:
    """A table of a name that could be anything: nobody knows whether it is the catalogue."""
    day.film("PEH-0401.tif", "held")
    day.put("export 3.csv", rows("item_id,title", "PEH-0401,A"))


def negative_and_print(day: Day) -> None:
    """Two things of one number, each a part; a print that is all there is, as an item is one."""
    day.film("PEH-0411_neg.tif", "PEH-0411/neg")
    day.film("PEH-0411_print.tif", "PEH-0411/print")
    day.film("PEH-0412_print.tif", "PEH-0412/print")
    day.put("catalogue.csv", rows("item_id,title", "PEH-0411,A", "PEH-0412,B"))


def dates_in_names(day: Day) -> None:
    """The day stands in the name; the number alone would collide."""
    for date in ("20260316", "20260317"):
        for number in ("001", "002"):
            day.film(f"{date}_{number}.tif", f"{date}-{number}")
    day.put(
        "catalogue.csv",
        rows("item_id,title", *(f"{d}-{n},A" for d in ("20260316", "20260317")
                                for n in ("001", "002"))),
    )  # fmt: skip
    day.settings = {
        "naming": {
            "pattern": r"(?P<day>[0-9]{8})_(?P<number>[0-9]{3})\.tif",
            "item": "{day}-{number}",
        }
    }


def capitals(day: Day) -> None:
    """One person writes capitals, the other does not."""
    day.film("PEH-0421.tif", "PEH-0421")
    day.film("peh-0422.tif", "PEH-0422")
    day.film("Peh-0423.TIF", "PEH-0423")
    day.put("catalogue.csv", rows("item_id,title", *(f"PEH-042{n},A" for n in (1, 2, 3))))
    day.settings = {
        "naming": {
            "pattern": r"(?i:(?P<item>PEH-[0-9]{4})\.tif)",
            "same_number": {"case": True},
        }
    }


def a_range(day: Day) -> None:
    """batch.yaml says which numbers the box holds."""
    for number in ("0431", "0432", "0434"):
        day.film(f"PEH-{number}.tif", f"PEH-{number}" + ("?" if number == "0434" else ""))
    day.put("batch.yaml", "expected: [PEH-0431..PEH-0433]\n")
    day.put("catalogue.csv", rows("item_id,title", *(f"PEH-043{n},A" for n in (1, 2, 3, 4))))
    day.missing = ["PEH-0433"]
    day.surplus = ["PEH-0434"]


def preview_of_both_sides(day: Day) -> None:
    """One preview for a thing of two sides: it is of the item, whichever side it shows."""
    day.film("PEH-0441_emu.tif", "PEH-0441/emu")
    day.film("PEH-0441_base.tif", "PEH-0441/base")
    day.put("PEH-0441_emu.jpg", JPEG, "=PEH-0441")
    day.put("catalogue.csv", rows("item_id,title", "PEH-0441,A"))


def targets_among_masters(day: Day) -> None:
    """A target and the bare light, named in batch.yaml; a second target that it does not name."""
    day.film("PEH-0451.tif", "PEH-0451")
    day.film("targets/morning.tif", "-")
    day.film("targets/noon.tif", "held")
    day.by_night["PEH-0451.tif"] = "waits"  # no target is seen in that picture
    day.put(
        "batch.yaml", "targets:\n- {path: targets/morning.tif, description: film-example.yaml}\n"
    )
    day.put("catalogue.csv", rows("item_id,title", "PEH-0451,A"))


LATER: dict[str, Callable[[Day], None]] = {
    made.__name__: made
    for made in (
        labels_in_the_picture, label_against_name, separators_in_two_folders, a_sleeve_alone,
        separators_left_out, decided_by_hand, retakes_in_folders, retakes_left_out,
        retakes_not_allowed, frames_twice, what_systems_leave, digests_beside_each, katalog,
        table_of_another_name, negative_and_print, dates_in_names, capitals, a_range,
        preview_of_both_sides, targets_among_masters,
    )
}  # fmt: skip


# ------------------------------------------------- fates written down before they were tried


def separators_retakes_missing(day: Day) -> None:
    """Separators of three symbologies, captures made again, an item of the catalogue that was never
    on the table: between two separators nobody knows whether its own was forgotten."""
    day.sleeve("DSC_0201.tif", "PEH-0501", "PEH-0501/sleeve", form="qr", degrees=75)
    day.film("DSC_0202.tif", "PEH-0501//01", seed=901)
    day.film("DSC_0203.tif", "=PEH-0501", seed=902)
    day.film("DSC_0203_retake.tif", "PEH-0501//02", seed=902)
    day.sleeve("DSC_0204.tif", "PEH-0502", "PEH-0502/sleeve?", form="code128", degrees=190)
    day.film("DSC_0205.tif", "held")
    day.sleeve("DSC_0206.tif", "PEH-0504", "PEH-0504/sleeve", form="datamatrix", degrees=5)
    day.film("DSC_0207.tif", "PEH-0504//01")
    day.film("DSC_0208.tif", "PEH-0504//02")
    day.put(
        "catalogue.csv",
        rows("item_id,title", *(f"PEH-050{n},Harbour {n}" for n in range(1, 6))),
    )
    day.missing = ["PEH-0503", "PEH-0505"]
    day.settings = {
        "naming": {"identify": ["name", "catalogue", "separator"]},
        "intake": {"retakes": "keep"},
    }


def two_clocks(day: Day) -> None:
    """Two cameras on one table, the second one's clock forty seconds behind; only the first saw the
    sleeves, so that by its times the second one's captures fall to the item before."""
    day.sleeve("A0001.tif", "PEH-0511", "PEH-0511/sleeve", form="qr")
    day.film("A0002.tif", "PEH-0511//01")
    day.sleeve("A0003.tif", "PEH-0512", "PEH-0512/sleeve", form="qr", degrees=30)
    day.film("A0004.tif", "PEH-0512//01")
    day.film("B0001.tif", "held", second=5)  # with A0002, at 45
    day.film("B0002.tif", "held", second=45)  # with A0004, at 85
    day.put("catalogue.csv", rows("item_id,title", "PEH-0511,A", "PEH-0512,B"))
    day.settings = {"naming": {"identify": ["name", "catalogue", "separator"]}}


def a_clock_hours_away(day: Day) -> None:
    """The same, the second camera's clock three hours ahead: all of it would be the last item's."""
    day.sleeve("A0001.tif", "PEH-0515", "PEH-0515/sleeve", form="qr")
    day.film("A0002.tif", "PEH-0515//01")
    day.sleeve("A0003.tif", "PEH-0516", "PEH-0516/sleeve", form="qr", degrees=30)
    day.film("A0004.tif", "PEH-0516//01")
    day.film("B0001.tif", "held", second=10_840)
    day.film("B0002.tif", "held", second=10_880)
    day.put("catalogue.csv", rows("item_id,title", "PEH-0515,A", "PEH-0516,B"))
    day.settings = {"naming": {"identify": ["name", "catalogue", "separator"]}}


def dates_of_other_forms(day: Day) -> None:
    """Folders named by the day, each person in another way; one that no pattern knows."""
    day.film("16.03.2026/IMG_0001.tif", "2026-03-16-0001")
    day.film("2026_03_17/IMG_0001.tif", "2026-03-17-0001")
    day.film("20260318 evening/IMG_0001.tif", "2026-03-18-0001")
    day.film("Thu 19 March/IMG_0001.tif", "held")
    day.put(
        "catalogue.csv",
        rows("item_id,title", *(f"2026-03-{n}/0001,Quay" for n in (16, 17, 18, 19))),
    )
    day.missing = ["2026-03-19-0001"]
    day.settings = {
        "naming": {
            "pattern_of": "path",
            "pattern": [
                r"(?P<d>[0-9]{2})\.(?P<m>[0-9]{2})\.(?P<y>[0-9]{4})/IMG_(?P<n>[0-9]{4})\.tif",
                r"(?P<y>[0-9]{4})_(?P<m>[0-9]{2})_(?P<d>[0-9]{2})/IMG_(?P<n>[0-9]{4})\.tif",
                r"(?P<y>[0-9]{4})(?P<m>[0-9]{2})(?P<d>[0-9]{2}) [a-z]+/IMG_(?P<n>[0-9]{4})\.tif",
            ],
            "item": "{y}-{m}-{d}-{n}",
            "same_number": {"marks": "/-"},
        }
    }


def counter_begins_anew(day: Day) -> None:
    """The camera counts to 9999 and then from 1: its times go on, and so does the item."""
    day.sleeve("DSC_9997.tif", "PEH-0521", "PEH-0521/sleeve", form="qr")
    day.film("DSC_9998.tif", "PEH-0521//01")
    day.film("DSC_9999.tif", "PEH-0521//02")
    day.film("DSC_0001.tif", "PEH-0521//03")
    day.sleeve("DSC_0002.tif", "PEH-0522", "PEH-0522/sleeve", form="qr", degrees=110)
    day.film("DSC_0003.tif", "PEH-0522//01")
    day.put("catalogue.csv", rows("item_id,title", "PEH-0521,A", "PEH-0522,B"))
    day.settings = {"naming": {"identify": ["name", "catalogue", "separator"]}}


def copied_twice(day: Day) -> None:
    """One disk copied twice, under two names; the second copy has one master more."""
    for number in ("0531", "0532"):
        day.film(f"disk 7/PEH-{number}.tif", "held")
    day.film("disk 7 again/PEH-0533.tif", "PEH-0533")
    for number in ("0531", "0532"):
        day.copy(f"disk 7 again/PEH-{number}.tif", f"disk 7/PEH-{number}.tif", "held")
    day.put("catalogue.csv", rows("item_id,title", *(f"PEH-053{n},A" for n in (1, 2, 3))))


def copied_twice_renamed(day: Day) -> None:
    """The same, the second time under other numbers: each master is there as two items."""
    day.film("PEH-0535.tif", "held")
    day.copy("again/PEH-0536.tif", "PEH-0535.tif", "held")
    day.film("PEH-0537.tif", "PEH-0537")
    day.put("catalogue.csv", rows("item_id,title", *(f"PEH-053{n},A" for n in (5, 6, 7))))


def digests_in_a_table(day: Day) -> None:
    """A table of digests from a Windows program: capitals, backslashes; one that is not in it, one
    of which it states another digest."""
    lines = []
    for number in ("0541", "0542", "0543"):
        path = f"film/peh-{number}.tif"
        day.film(path, f"PEH-{number}")
        digest = hashlib.md5((day.root / path).read_bytes()).hexdigest().upper()
        lines.append(f"FILM\\PEH-{number}.TIF,{digest}")
    day.film("film/peh-0544.tif", "held")
    day.film("film/peh-0545.tif", "PEH-0545")
    day.by_night["film/peh-0545.tif"] = "held"  # its digest is read by night alone
    lines.append(f"FILM\\PEH-0545.TIF,{0:032X}")
    day.put("checksums.csv", rows("File,MD5", *lines, end="\r\n"))
    day.put("catalogue.csv", rows("item_id,title", *(f"PEH-054{n},A" for n in range(1, 6))))
    day.settings = {
        "naming": {"pattern": r"(?i:(?P<item>PEH-[0-9]{4})\.tif)", "same_number": {"case": True}}
    }


TRIED: dict[str, Callable[[Day], None]] = {
    made.__name__: made
    for made in (
        separators_retakes_missing, two_clocks, a_clock_hours_away, dates_of_other_forms,
        counter_begins_anew, copied_twice, copied_twice_renamed, digests_in_a_table,
    )
}  # fmt: skip

# ------------------------------------------------- names, codes and lists that contradict each other


def frames_of_two_rolls(day: Day) -> None:
    """Rolls by R012F05A, one person in small letters; a frame between two, one that is missing."""
    for number in ("05A", "06", "06A", "07", "09"):
        day.film(f"R012F{number}.tif", f"R012//{number}?")
    for number in ("01", "02"):
        day.film(f"r013f{number}.TIF", f"R013//{number}")
    day.put("catalogue.csv", rows("item_id,title", "R012,A", "R013,B"))
    day.missing = ["R012"]  # its frame 8
    day.settings = {
        "naming": {
            "pattern": r"(?i:(?P<item>R[0-9]{3})F(?P<sequence>[0-9]{2}A?)\.tif)",
            "same_number": {"case": True},
        }
    }


def accents_of_a_mac(day: Day) -> None:
    """Names whose accents a Mac took apart are held with words, whole ones go on; one name in both
    forms; a list of digests as the Mac's own command writes it."""
    apart, whole = (functools.partial(unicodedata.normalize, form) for form in ("NFD", "NFC"))
    day.film(apart("\u00c9lise quai 0001.tif"), "held")
    day.film(whole("\u00c9lise quai 0002.tif"), "PEH-0612")
    day.film("other/" + apart("Gr\u00e8ve 0003.tif"), "held")
    day.film("other/" + whole("Gr\u00e8ve 0003.tif"), "held")  # no list names it
    names = list(day.fates)[:2]
    digests = [hashlib.md5((day.root / name).read_bytes()).hexdigest() for name in names]
    lines = [f"MD5 ({apart(n)}) = {d}\n" for n, d in zip(names, digests, strict=True)]
    day.put("checksums.md5", "".join(lines))
    day.put(
        "catalogue.csv",
        rows(
            "item_id,title,files",
            "PEH-0611,A," + whole(names[0]),
            "PEH-0612,B," + apart(names[1]),
            "PEH-0613,C," + whole("other/Gr\u00e8ve 0003.tif"),
        ),
    )
    day.settings = {
        "naming": {"identify": ["catalogue"]},
        "catalogue": {"columns": {"masters": "files"}},
    }


def sleeves_that_names_contradict(day: Day) -> None:
    """Names tell all, and codes on the sleeves too; one sleeve has the code of the next item."""
    codes = {"PEH-0621": "PEH-0621", "PEH-0622": "PEH-0623", "PEH-0623": "PEH-0623"}
    for degrees, (item, code) in enumerate(codes.items()):
        ask = "" if item == code else "?"
        day.sleeve(
            f"{item}_sleeve.tif", code, f"{item}/sleeve{ask}", form="qr", degrees=40 * degrees
        )
        day.film(f"{item}_01.tif", f"{item}//01{ask}")
    day.put("catalogue.csv", rows("item_id,title", *(f"{item},A" for item in codes)))


def half_a_day_again(day: Day) -> None:
    """Half of a day was captured again on the next, sides among it; session files that are wrong."""
    for number in range(1, 5):
        again, verso_again = number in (2, 3), number == 4
        item = f"PEH-063{number}"
        day.film(
            f"day 1/{item}_recto.tif", f"={item}" if again else f"{item}/recto", seed=630 + number
        )
        fate = f"={item}" if verso_again else f"{item}/verso"
        day.film(f"day 1/{item}_verso.tif", fate, seed=640 + number)
    for number in (2, 3):
        day.film(f"day 2/PEH-063{number}_recto.tif", f"PEH-063{number}/recto", seed=630 + number)
    day.film("day 2/PEH-0634_verso_v2.tif", "PEH-0634/verso", seed=644)
    day.put("day 1/session.yaml", "station: table 2\noperatrs: {capture: OP-3}\n")
    day.put("day 2/session.yaml", "station: [table 2\n")
    day.put("catalogue.csv", rows("item_id,title", *(f"PEH-063{n},A" for n in range(1, 5))))
    day.settings = {"intake": {"retakes": "keep"}}


def rows_and_lists_that_disagree(day: Day) -> None:
    """Two rows of one item, a list of `md5sum -b` with a file that is not there, an empty file, one
    cut short, one name in capitals and not."""
    for number in ("0641", "0642", "0643"):
        day.film(f"PEH-{number}.tif", "held" if number == "0641" else f"PEH-{number}")
    for name in ("PEH-0647.tif", "peh-0647.TIF"):
        day.film(name, "held")
    whole = (day.root / "PEH-0642.tif").read_bytes()
    contents = {name: (day.root / name).read_bytes() for name in day.fates}
    contents |= {"PEH-0644.tif": b"x", "PEH-0645.tif": b"", "PEH-0646.tif": whole}
    day.put("PEH-0645.tif", b"", "held")
    day.put("PEH-0646.tif", whole[:-5000], "held")
    lines = [f"{hashlib.md5(each).hexdigest()} *{name}\r\n" for name, each in contents.items()]
    day.put("checksums.md5", "".join(lines))
    numbers = ["0641", "0641", *(f"064{n}" for n in range(2, 9))]
    day.put("catalogue.csv", rows("item_id,title", *(f"PEH-{n},A" for n in numbers)))
    day.missing = ["PEH-0644", "PEH-0648"]
    day.settings = {
        "naming": {
            "pattern": r"(?i:(?P<item>PEH-[0-9]{4})\.tif)",
            "same_number": {"case": True},
        }
    }


def days_in_words(day: Day) -> None:
    """Dates, blanks, letters beyond ASCII and endings in capitals: the table says which is which;
    one is a copy by its name, and two have the camera's."""
    listed = {"011": "14", "012": "14", "013": "15"}
    for number, date in listed.items():
        day.film(f"2026-03-{date} K\u00e4hne {number}.TIF", f"KA-{number}")
    for name in ("2026-03-15 K\u00e4hne 13 (2).tif", "IMG_0001.tif", "IMG_0002.tif"):
        day.film(name, "held")
    table = [f"KA-{n};K\u00e4hne;2026-03-{date} K\u00e4hne {n}.tif" for n, date in listed.items()]
    day.put("catalogue.csv", rows("Inventar-Nr;Titel;Datei", *table, "KA-014;Kahn;"))
    day.missing = ["KA-014"]
    columns = {"item_id": "Inventar-Nr", "title": "Titel", "masters": "Datei"}
    day.settings = {"naming": {"identify": ["catalogue"]}, "catalogue": {"columns": columns}}


CONTRADICTED: dict[str, Callable[[Day], None]] = {
    made.__name__: made
    for made in (
        frames_of_two_rolls, accents_of_a_mac, sleeves_that_names_contradict, half_a_day_again,
        rows_and_lists_that_disagree, days_in_words,
    )
}  # fmt: skip
DAYS = FIRST | LATER | TRIED | CONTRADICTED


def make(name: str, root: Path) -> Day:
    day = Day(root)
    root.mkdir(parents=True)
    DAYS[name](day)
    return day
