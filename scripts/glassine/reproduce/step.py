"""Make the derivatives of a delivered package again, from its master and what it says of itself.

A package carries all that decided its pictures: the master, where the frames lie, the settings,
the catalogue's words. If the same bytes come out, the record tells the truth.
"""

from __future__ import annotations

import copy
import filecmp
import platform
import shutil
import tarfile
import zipfile
from functools import cached_property
from pathlib import Path
from typing import Any

import pyvips
from lxml import etree

from glassine import steps
from glassine.base import access, alternates, files, hashing, record_files, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.premis_event import software
from glassine.base.records.developed import Developed, DevelopedMaster
from glassine.deliver import bag
from glassine.develop import again
from glassine.develop import step as developing
from glassine.masters import raws
from glassine.pack import layouts
from glassine.record import parsed
from glassine.reproduce import last_bits

# In the item's folder: pictures of raw files that the package does not hold.
_DEVELOPED = "developed"
_FOLDERS = ("access", "thumbs", alternates.FOLDER, "iiif")
_RECORDS = ("fixity", "geometry", "render", "embedded")
KEPT_BACK = "reproduce.kept_back"
LAST_BITS = "reproduce.last_bits"
# Exit codes: 0 says that bytes are the same, so a last bit that differs has a code of its own, by
# which a script can let it pass without letting anything else pass.
SAME, DIFFERENT, NOT_COMPARED, SAME_BUT_LAST_BITS = 0, 1, 2, 3


def reproduce(path: Path, work: Path) -> list[Finding]:
    """Return what comes out otherwise than it was delivered; nothing where all bytes are equal.

    path: a bag (folder, tar, zip) or one package; it is only read. work: folder for what is made
    anew; one folder an item stays there for comparing. A finding of severity "note" tells of
    other versions of the software or another kind of processor, which may explain others; one of
    the code LAST_BITS, of severity "review", that a picture is the same but for last bits.
    """
    work.mkdir(parents=True, exist_ok=True)
    if path.is_dir() and not (path / "bagit.txt").exists():
        return _reproduced(path, work)
    try:
        store = bag.open_store(path)
    except GlassineError as error:
        return error.findings
    findings = []
    try:
        items = _items(store)
        for item, names in items.items():
            if path.is_dir():
                findings += _reproduced(path / "data" / item, work)
            else:
                findings += _unpacked_and_reproduced(store, item, names, work)
    finally:
        store.close()
    if not items:
        return [_finding("empty", path, "There is no package in it.", "a bag of packages.")]
    return findings


def told(path: Path, findings: list[Finding]) -> tuple[list[str], int]:
    """Return (lines for an operator, exit code: one of SAME, DIFFERENT, NOT_COMPARED and
    SAME_BUT_LAST_BITS)."""
    wrong = sum(finding.severity == "hold" for finding in findings)
    nearly = sum(finding.code == LAST_BITS for finding in findings)
    unmade = sum(finding.code == KEPT_BACK for finding in findings)
    last = f"{nearly} pictures are the same but for last bits" if nearly else ""
    if wrong:
        code, verdict = DIFFERENT, f"{wrong} differences" + (f"; beside them {last}" * bool(last))
    elif nearly:
        code, verdict = SAME_BUT_LAST_BITS, f"no other picture comes out; {last}"
    else:
        code, verdict = SAME, "every derivative comes out the same"
    if unmade and not wrong:
        code = NOT_COMPARED
    if unmade:
        verdict += f"; {unmade:,} packages without masters were not compared"
    return [*(finding.sentence() for finding in findings), f"{path}: {verdict}"], code


def _finding(what: str, path: object, wrong: str, expected: str, severity: str = "hold") -> Finding:
    next_step = "Compare both files; validate the delivery to see which one is damaged."
    return Finding(f"reproduce.{what}", str(path), wrong, expected, next_step, severity)


def _unproved(package: Path, name: str, source: dict[str, Any]) -> Finding:
    """Return a note on a master whose raw file was not delivered."""
    return Finding(
        "reproduce.no_raw",
        str(package / "masters" / name),
        f"The raw file that it was developed from ({source['path']}) is not in the package, as the "
        "settings had it: that the master is what comes out of it is not proved here.",
        f"a raw file of SHA-256 {source['digests']['sha256']}.",
        "Nothing; where the raw file is kept elsewhere, compare its digest.",
        "note",
    )


def _items(store: bag.Store) -> dict[str, list[str]]:
    """Return {item: paths in the bag} of a bag."""
    by_item: dict[str, list[str]] = {}
    for name in sorted(store.files):
        parts = name.split("/")
        if parts[0] == "data" and len(parts) > 2:
            by_item.setdefault(parts[1], []).append(name)
    return by_item


def _unpacked_and_reproduced(
    store: bag.Store, item: str, names: list[str], work: Path
) -> list[Finding]:
    """Lay one item of an archive into `work` for as long as it is compared."""
    root = work / ".unpacked"
    shutil.rmtree(root, ignore_errors=True)
    try:
        for name in names:
            target = files.inside(root, name)
            target.parent.mkdir(parents=True, exist_ok=True)
            with store.open(name) as opened, target.open("wb") as written:
                shutil.copyfileobj(opened, written, hashing.CHUNK)
        return _reproduced(root / "data" / item, work)
    except (OSError, ValueError, tarfile.TarError, zipfile.BadZipFile) as problem:
        return [_finding("unreadable", item, f"It cannot be unpacked: {problem}.", "a whole bag.")]
    finally:
        shutil.rmtree(root, ignore_errors=True)


def plain_paths(package: Path) -> dict[str, str]:
    """Return {path in the plain layout: path in this package}, whatever its layout."""
    for layout in layouts.all_layouts().values():
        paths = layout.plain_paths(package)
        if paths is not None:
            return paths
    raise GlassineError.because(
        "reproduce.layout",
        package,
        "This is no package of a layout known here.",
        f"one of {', '.join(sorted(layouts.all_layouts()))}.",
        "Name a delivered bag, or the folder of one item in it.",
    )


def _reproduced(package: Path, work: Path) -> list[Finding]:
    """Make one package's derivatives anew and compare them."""
    try:
        paths = plain_paths(package)
        if _keeps_masters_back(package, paths):
            return [_not_compared(package, paths)]
        item = _Item(package, paths, work)
        findings = item.prepare()
        if any(finding.severity == "hold" for finding in findings):
            return findings
        item.make()
        return [*item.compared(), *findings]
    except GlassineError as error:
        return error.findings
    except (LookupError, TypeError, ValueError, AttributeError, pyvips.Error) as problem:
        wrong = f"It cannot be made again from its records: {wording.why(problem)}."
        expected = "records as the night wrote them, and the version of this software that did."
        return [_finding("records", package, wrong, expected)]


def _keeps_masters_back(package: Path, paths: dict[str, str]) -> bool:
    """Return whether `access.deliver` keeps the masters out of a package, as its record says."""
    embedded = paths.get("metadata/embedded.json")
    if embedded is None:
        return False  # told as missing
    level = files.read_json(package / embedded)["event"]["detail"].get("access", {})
    return bool(level.get("deliver") == "records")


def _not_compared(package: Path, paths: dict[str, str]) -> Finding:
    folders = tuple(f"{name}/" for name in _FOLDERS)
    pictures = [path for path in paths if path.startswith(folders)]
    wrong = (
        "Its masters are kept back (`access.deliver`), so that nothing can be made again of it: "
        f"{len(pictures):,} pictures were not compared."
    )
    return _finding("kept_back", package, wrong, "its masters.", "review")


class _Item:
    """One package and the folder in which it is made anew."""

    def __init__(self, package: Path, paths: dict[str, str], work: Path) -> None:
        self.package = package
        self.paths = paths
        self.records = {
            name: files.read_json(self.delivered(f"metadata/{name}.json")) for name in _RECORDS
        }
        self.name: str = self.records["embedded"]["item"]
        self.item_dir = files.inside(work, self.name)
        self.masters_dir = self._masters_dir()

    def delivered(self, plain: str) -> Path:
        """Return where a file of the plain layout is in this package."""
        if plain not in self.paths:
            wrong = "The package has no such file."
            finding = _finding("missing", self.package / plain, wrong, "a whole package.")
            raise GlassineError([finding])
        return self.package / self.paths[plain]

    def _masters_dir(self) -> Path:
        """Return the folder that the masters' recorded paths start from."""
        if self.made_again:
            return self.item_dir / _DEVELOPED
        path = self.records["fixity"]["masters"][0]["path"]
        place = self.delivered(f"masters/{path}").as_posix()
        return Path(place.removesuffix(f"/{path}"))

    @cached_property
    def made_again(self) -> frozenset[str]:
        """Return the masters that the package does not hold, as its raw files prove them."""
        return frozenset(
            master["path"]
            for master in self.records["fixity"]["masters"]
            if "source" in master and f"masters/{master['path']}" in self.beside
        )

    @cached_property
    def beside(self) -> frozenset[str]:
        """Return the files that the record says are not in the package: what else is missing, is
        lost. Raises ValueError where it cannot be read."""
        path = self.delivered("METS.xml")
        try:
            root = parsed.parse(path)
        except etree.XMLSyntaxError as problem:
            raise ValueError(f"METS.xml: {problem}") from problem
        record = parsed.ParsedRecord(root, path, self.package, {}, {}, tiles=False)
        return frozenset(record.beside())

    def prepare(self) -> list[Finding]:
        """Lay out what the steps read; return findings where a master is not the recorded one."""
        shutil.rmtree(self.item_dir, ignore_errors=True)
        self.item_dir.mkdir(parents=True)
        for name in ("fixity", "geometry"):
            shutil.copyfile(self.delivered(f"metadata/{name}.json"), self.item_dir / f"{name}.json")
        findings = []
        for master in self.records["fixity"]["masters"]:
            if master["path"] in self.made_again:
                continue  # proved by its digest when it is made
            origin = self.delivered(f"masters/{master['path']}")
            if hashing.of_file(origin).sha256 != master["digests"]["sha256"]:
                wrong = "The master is not the one that fixity.json records."
                expected = f"SHA-256 {master['digests']['sha256']}."
                findings.append(_finding("master", origin, wrong, expected))
            elif self.made_again:  # the steps look for all masters in one folder
                copy = files.inside(self.masters_dir, master["path"])
                copy.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(origin, copy)
        return findings or self.developed()

    def developed(self) -> list[Finding]:
        """Make masters that were developed again from their raw files; return what differs."""
        sources = {
            master["path"]: master["source"]
            for master in self.records["fixity"]["masters"]
            if "source" in master
        }
        if not sources:
            return []
        path = self.delivered("metadata/developed.json")
        record = record_files.load(path, "developed", Developed)
        known = {master.path: master for master in record.masters}
        findings = []
        for name, source in sources.items():
            if f"raw/{source['path']}" in self.beside:
                findings.append(_unproved(self.package, name, source))
                continue
            origin = self.delivered(f"raw/{source['path']}")
            if hashing.of_file(origin).sha256 != source["digests"]["sha256"]:
                wrong = "The raw file is not the one that fixity.json records."
                expected = f"SHA-256 {source['digests']['sha256']}."
                findings.append(_finding("raw", origin, wrong, expected))
            elif name not in known:
                wrong = f"The record does not say how {name} was developed."
                findings.append(_finding("development", path, wrong, "an entry of every master."))
            else:
                findings += self._developed_again(origin, known[name], record)
        return findings

    def _developed_again(
        self, origin: Path, master: DevelopedMaster, record: Developed
    ) -> list[Finding]:
        if master.path in self.made_again:
            return self._proved_by_digest(origin, master, record)
        made = self.item_dir / ".compared" / f"{hashing.of_bytes(master.path.encode()).sha256}.tif"
        made.parent.mkdir(exist_ok=True)
        again.make_again(origin, master, record.fields, made)
        delivered = self.delivered(f"masters/{master.path}")
        if filecmp.cmp(made, delivered, shallow=False):
            made.unlink()
            return []
        wrong = "Another picture comes out of its raw file than was delivered as the master."
        expected = f"as {made}; {_developed_by(record)}."
        return [_finding("development", delivered, wrong, expected)]

    def _proved_by_digest(
        self, origin: Path, master: DevelopedMaster, record: Developed
    ) -> list[Finding]:
        """Make a picture that was not delivered; it stays, for the pictures that come of it."""
        made = files.inside(self.masters_dir, master.path)
        made.parent.mkdir(parents=True, exist_ok=True)
        again.make_again(origin, master, record.fields, made)
        known = {each["path"]: each["digests"] for each in self.records["fixity"]["masters"]}
        expected = known[master.path]["sha256"]
        if hashing.of_file(made).sha256 == expected:
            return []
        wrong = f"Another picture comes out of its raw file than the record has ({made})."
        expected = f"SHA-256 {expected}; {_developed_by(record)}."
        return [_finding("development", origin, wrong, expected)]

    def given(self) -> dict[str, Any]:
        detail = self.records["embedded"]["event"]["detail"]
        rendered = self.records["render"]["event"]["detail"]
        facts = detail["facts"]
        masters = [
            {
                "path": master["path"],
                "part": master["part"],
                "sequence": None,
                "bytes": master["bytes"],
                "mtime_ns": (self.masters_dir / master["path"]).stat().st_mtime_ns,
                "expected": {},
                # Packages made when facts went by item hold one set for all masters.
                **({"facts": facts[master["path"]]} if master["path"] in facts else {}),
            }
            for master in self.records["fixity"]["masters"]
        ]
        return {
            "batch": "",
            "item": self.name,
            "masters": masters,
            "facts": None if any("facts" in master for master in masters) else facts,
            "catalogue": detail["catalogue"],
            "corrections": None,
            "films": rendered.get("films", []),
            "public": rendered.get("public", {}),
            "caption": rendered.get("caption", {}),
            "access": detail.get("access", {}),
            "settings": {**rendered["settings"], **detail["settings"]},
            "institution": detail["institution"],
            "software": detail["software"],
        }

    def make(self) -> None:
        values = self.given()
        for name in ("render", "embed"):
            step = steps.function(name)
            step(self.masters_dir, self.item_dir, steps.given(name, values))

    def compared(self) -> list[Finding]:
        again = {
            "render": files.read_json(self.item_dir / "render" / "render.json")["frames"],
            "embedded": files.read_json(self.item_dir / "embedded.json")["files"],
        }
        recorded = {
            "render": self.records["render"]["frames"],
            "embedded": self.records["embedded"]["files"],
        }
        findings = self.files(_renamed_digests(again["render"], recorded["render"]))
        if any(finding.code == LAST_BITS for finding in findings) and self._is_as_recorded:
            # Digests and sizes differ with the pictures, of which more was said above.
            again, recorded = _without_digests(again), _without_digests(recorded)
        return [*self.parameters(again, recorded), *findings, *self.versions()]

    def parameters(self, again: dict[str, Any], recorded: dict[str, Any]) -> list[Finding]:
        """Compare what render and embed say of the files with what was recorded."""
        return [
            _finding(
                "parameters",
                self.package / f"metadata/{name}.json",
                f"The record and what comes out part: {_difference(recorded[name], made)}.",
                "the parameters that repeat the pictures.",
            )
            for name, made in again.items()
            if files.canonical(made) != files.canonical(recorded[name])
        ]

    @cached_property
    def _is_as_recorded(self) -> bool:
        """Return whether the delivered pictures have the digests that the package records."""
        for entry in self.records["embedded"]["files"]:
            if access.stays(entry["path"]):
                continue  # delivered to nobody
            place = self.paths.get(entry["path"])
            if place is None or hashing.sha256_of(self.package / place) != entry["sha256"]:
                return False
        for frame in self.records["render"]["frames"]:
            recorded = frame["tiles"]
            root = f"{recorded['path']}/" if recorded else ""
            parts = {
                plain.removeprefix(root): hashing.sha256_of(self.package / path)
                for plain, path in self.paths.items()
                if root and plain.startswith(root)
            }
            # A delivery may leave tiles out, but for what tells of them.
            if len(parts) > 1 and hashing.of_tree(parts) != recorded["sha256"]:
                return False
        return True

    def _differing(self, made: Path, delivered: Path, digests: dict[str, str]) -> Finding:
        """Return what to say of two files whose bytes differ."""
        apart = last_bits.between(made, delivered, digests) if self._is_as_recorded else None
        if apart is None:
            wrong = "Other bytes come out than were delivered."
            return _finding("differs", delivered, wrong, f"as {made}.")
        return Finding(
            LAST_BITS,
            str(delivered),
            f"The same picture comes out, but for last bits: samples differ by {apart.levels:.3g} "
            f"of 255 levels at most, in {100 * apart.share:.2g} % of its pixels.",
            "the same bytes, where processor and software are of the kind that made it.",
            "Nothing has to be done to the picture; make it again on a machine of that kind to "
            "see the same bytes.",
            "review",
        )

    def files(self, digests: dict[str, str]) -> list[Finding]:
        """Compare the files; digests: those made now, and the recorded ones in their place."""
        again = {
            f"{folder}/{path}": self.item_dir / folder / path
            for folder in _FOLDERS
            for path in layouts.tree_paths(self.item_dir / folder)
        }
        delivered = {
            plain: self.package / path
            for plain, path in self.paths.items()
            if plain.split("/")[0] in _FOLDERS
        }
        findings = []
        for plain in sorted(set(delivered) - set(again)):
            wrong = "This file does not come out again."
            findings.append(_finding("more", delivered[plain], wrong, "only files that do."))
        for plain in sorted(set(again) - set(delivered)):
            # A delivery may leave tiles out; a picture it may not.
            if not plain.startswith("iiif/") or self._has_tiles(plain, delivered):
                wrong = "This file comes out, but the package does not have it."
                findings.append(
                    _finding("missing", self.package / plain, wrong, "every derivative.")
                )
        findings += [
            self._differing(again[plain], delivered[plain], digests)
            for plain in sorted(set(again) & set(delivered))
            if not filecmp.cmp(again[plain], delivered[plain], shallow=False)
        ]
        return findings

    @staticmethod
    def _has_tiles(plain: str, delivered: dict[str, Path]) -> bool:
        folder = "/".join(plain.split("/")[:2]) + "/"
        return any(path.startswith(folder) and path != f"{folder}info.json" for path in delivered)

    def versions(self) -> list[Finding]:
        """Tell of software whose version, and of a processor whose kind, is another now."""
        findings = []
        for name in ("render", "embedded"):
            used = self.records[name]["event"]["software"]
            now = software(*(package for package in used if package not in ("glassine", "python")))
            other = [
                f"{package} {used[package]}, now {now[package]}"
                for package in used
                if now[package] != used[package]
            ]
            if other:
                path = self.package / f"metadata/{name}.json"
                wrong = f"Other software made it: {'; '.join(other)}."
                findings.append(_finding("software", path, wrong, "the same versions.", "note"))
            ran_on = self.records[name]["event"].get("processor")
            if ran_on and ran_on != platform.machine():
                path = self.package / f"metadata/{name}.json"
                wrong = f"It was made on a processor of another kind: {ran_on}, now "
                wrong += f"{platform.machine()}."
                findings.append(_finding("processor", path, wrong, "the same kind.", "note"))
        return findings


def _developed_by(record: Developed) -> str:
    """Return in words by what a picture was developed, then and now."""
    detail = record.event.detail
    words = f"LibRaw {detail.get('libraw')}, here {raws.software()}"
    version = str(detail.get("version"))
    if version == developing.VERSION:
        return words
    used = record.event.software.get("glassine", "that wrote the record")
    return (
        f"{words}; developed by version {version} of the step develop, here "
        f"{developing.VERSION}: the version of this software that did ({used}) makes the same again"
    )


def _renamed_digests(again: list[Any], recorded: list[Any]) -> dict[str, str]:
    """Return {digest of a picture made now: the recorded one} of all pictures of the frames."""
    renamed: dict[str, str] = {}
    for one, other in zip(again, recorded, strict=False):
        for name in ("files", "alternates"):
            pairs = zip(one.get(name) or [], other.get(name) or [], strict=False)
            renamed |= {ours["sha256"]: theirs["sha256"] for ours, theirs in pairs}
    return renamed


def _without_digests(records: dict[str, Any]) -> dict[str, Any]:
    """Return the records of pictures without what changes with any bit of them."""
    bare = copy.deepcopy(records)
    for frame in bare["render"]:
        for entry in (*frame["files"], *(frame.get("alternates") or []), frame["tiles"] or {}):
            for key in ("bytes", "sha256"):
                entry.pop(key, None)
    for entry in bare["embedded"]:
        for key in ("bytes", "sha256", "sha512"):
            entry.pop(key, None)
    return bare


def _difference(recorded: Any, again: Any, where: str = "") -> str:
    """Return the first place where two JSON values differ, with both values."""
    if isinstance(recorded, dict) and isinstance(again, dict):
        for key in sorted(set(recorded) | set(again)):
            if recorded.get(key) != again.get(key):
                return _difference(recorded.get(key), again.get(key), f"{where}.{key}")
    if isinstance(recorded, list) and isinstance(again, list) and len(recorded) == len(again):
        for number, (one, other) in enumerate(zip(recorded, again, strict=True)):
            if one != other:
                return _difference(one, other, f"{where}[{number}]")
    return f"{where.lstrip('.') or 'all'} is {str(recorded)[:80]}, comes out {str(again)[:80]}"
