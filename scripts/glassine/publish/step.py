"""Lay out, bring up to date and take down what the IIIF manifests of finished items name.

What may not be public is taken away before anything is added. A tree may be served while it is
written: each folder of it changes at once, a manifest is the last that comes and the first that
goes.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

from glassine.base import clock, files
from glassine.base.errors import Finding, GlassineError
from glassine.publish import changes, ledger, pages, tree
from glassine.publish.changes import Change, Kind
from glassine.publish.given import Candidate, Site
from glassine.publish.ledger import Published, Tree


@dataclass
class Outcome:
    """What was done. left_out: {item: why}; kept: published as before, as a step of it is due or
    it is held; elsewhere: of batches that are not here, left as they are."""

    new: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    removed: list[str] = field(default_factory=list)
    same: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    elsewhere: list[str] = field(default_factory=list)
    left_out: dict[str, str] = field(default_factory=dict)
    problems: list[Finding] = field(default_factory=list)

    @property
    def published(self) -> int:
        groups = (self.new, self.changed, self.same, self.kept, self.elsewhere)
        return sum(len(group) for group in groups)


@dataclass
class _Work:
    root: Path
    site: Site
    items: dict[str, Published]
    changes: list[Change]
    done: Outcome
    trial: bool

    def note(self, kind: Kind, manifest: str) -> None:
        self.changes.append(Change(type=kind, manifest=manifest, time=clock.now_text()))


def publish(root: Path, candidates: list[Candidate], site: Site, *, trial: bool = False) -> Outcome:
    """Bring the tree in `root` up to date; return what was done, or with `trial` would be.

    Raises GlassineError where the folder is no tree of ours, or is served at another address.
    """
    before = ledger.read(root)
    _require_same_base(root, before, site)
    work = _Work(root, site, dict(before.items), list(before.changes), Outcome(), trial)
    chosen = _chosen(work, candidates)
    _take_down(work, candidates, chosen)
    for candidate in chosen:
        _put(work, candidate)
    if not trial:
        _write_lists(work)
    return work.done


def _require_same_base(root: Path, before: Tree, site: Site) -> None:
    if before.items and before.base != site.base:
        raise GlassineError.because(
            "publish.base",
            root,
            f"It is served at {before.base}, and `iiif.base_url` is {site.base} now.",
            "a folder for each address.",
            "Publish into a new folder; remove the old one when nobody reads it any more.",
        )


def _chosen(work: _Work, candidates: list[Candidate]) -> list[Candidate]:
    """Return what is to be published, and tell why the rest is not."""
    chosen: dict[str, Candidate] = {}
    for each in candidates:
        why = _why_not(each, work.site)
        if not why and each.item in chosen:
            why = f"the batch {chosen[each.item].batch} has an item of this name too"
            work.done.problems.append(_problem("publish.same_name", each, f"{why}."))
        if not why and each.item in tree.RESERVED:
            why = "its name is one that the published tree needs itself"
            work.done.problems.append(_problem("publish.name", each, f"{why}."))
        if why:
            work.done.left_out.setdefault(each.item, why)
        else:
            chosen[each.item] = each
    for item in chosen:
        work.done.left_out.pop(item, None)
    return [*chosen.values()]


def _why_not(each: Candidate, site: Site) -> str:
    if each.public == "none":
        return each.why_closed or "closed"
    if each.state == "done" or (each.state == "review" and site.with_review):
        return ""
    return each.state


def _problem(code: str, each: Candidate, what: str) -> Finding:
    return Finding(
        code,
        f"{each.batch}/{each.item}",
        f"It was not published: {what}",
        "an item that can stand in the published tree beside the others.",
        "Correct it and run scripts/publish again; what was published of it before is gone or as "
        "it was, as the line above says.",
    )


def _take_down(work: _Work, candidates: list[Candidate], chosen: list[Candidate]) -> None:
    """Take away what may not be public any more, and what is not there any more."""
    stays = {each.item for each in chosen}
    standing: dict[str, list[Candidate]] = {}
    for each in candidates:
        standing.setdefault(each.item, []).append(each)
    for item, published in sorted(work.items.items()):
        if item in stays:
            continue
        of_batch = [each for each in standing.get(item, []) if each.batch == published.batch]
        if published.batch not in work.site.batches:
            work.done.elsewhere.append(item)
        elif of_batch and _may_stay(of_batch[0], work.site):
            work.done.kept.append(item)
        else:
            _remove(work, item)


def _may_stay(each: Candidate, site: Site) -> bool:
    """Return whether what was published of an item may stay until it is finished again: only where
    all of its pictures may be public, as it cannot be told which were."""
    passing = each.state in ("held", "waiting", "pending")
    return passing and each.public == "all"


def _remove(work: _Work, item: str) -> None:
    gone = work.items.pop(item)
    own = sorted(gone.folders, key=lambda folder: folder != item)
    if not work.trial:
        tree.take_away(work.root, own)
    work.note("Delete", gone.manifest)
    work.done.removed.append(item)


def _put(work: _Work, each: Candidate) -> None:
    """Publish one item. One that cannot be laid out is taken away: half of it would mislead."""
    before = work.items.get(each.item)
    try:
        manifest = files.read_json(each.folder / "manifest.json")
        paths = tree.of_item(each.item, each.folder, manifest, work.site.base)
        _require_own(work, each, manifest, paths)
    except (tree.Unpublishable, GlassineError, OSError, LookupError, TypeError) as problem:
        why = str(problem).rstrip(".")
        work.done.problems.append(_problem("publish.item", each, f"{why}."))
        work.done.left_out[each.item] = why
        if before:
            _remove(work, each.item)
        return
    now = _published(each, manifest, paths)
    if before == now and all((work.root / folder).is_dir() for folder in now.folders):
        work.done.same.append(each.item)
        return
    if not work.trial:
        if before:
            tree.take_away(work.root, [old for old in before.folders if old not in now.folders])
        tree.lay(work.root, paths)
    work.items[each.item] = now
    work.note("Update" if before else "Create", now.manifest)
    (work.done.changed if before else work.done.new).append(each.item)


def _require_own(
    work: _Work, each: Candidate, manifest: dict[str, Any], paths: dict[str, Path]
) -> None:
    """See that an item's folders are no other's, and that its manifest lies at its address."""
    wanted = f"{work.site.base}/{quote(each.item)}/manifest.json"
    if manifest["id"] != wanted:
        raise tree.Unpublishable(
            f"its manifest has the address {manifest['id']}, which `iiif.base_url` does not lead "
            "to; run the item again"
        )
    folders = tree.tops([*paths])
    taken = {folder: item for item, other in work.items.items() for folder in other.folders}
    for folder in folders:
        if folder in tree.RESERVED or taken.get(folder, each.item) != each.item:
            raise tree.Unpublishable(f"the folder {folder} is {taken.get(folder, 'reserved')}'s")


def _published(each: Candidate, manifest: dict[str, Any], paths: dict[str, Path]) -> Published:
    told = {
        path: [source.stat().st_size, source.stat().st_mtime_ns] for path, source in paths.items()
    }
    thumbnail = (manifest.get("thumbnail") or [{}])[0].get("id", "")
    return Published(
        batch=each.batch,
        manifest=str(manifest["id"]),
        digest=hashlib.sha256(files.canonical(told).encode()).hexdigest(),
        folders=tree.tops([*paths]),
        title=each.title,
        date=each.date,
        place=each.place,
        thumbnail=str(thumbnail),
    )


def _write_lists(work: _Work) -> None:
    """Write what tells of the whole: collections, changes, the pages to search, our own record."""
    root, site = work.root, work.site
    # First what is ours: a run that is ended in between is taken up by the next.
    ledger.write(root, Tree(base=site.base, items=work.items, changes=work.changes))
    documents = changes.pages(work.changes, site.base) | pages.collections(
        site, work.items, _kept_collections(root)
    )
    for path, document in documents.items():
        _write_if_new(root / path, json.dumps(document, ensure_ascii=False, indent=1) + "\n")
    for folder in ("activity", "collection"):
        for file in (root / folder).rglob("*.json"):
            if file.relative_to(root).as_posix() not in documents:
                file.unlink()
    for name, text in pages.site(site, work.items).items():
        _write_if_new(root / name, text)


def _kept_collections(root: Path) -> dict[str, Any]:
    """Return {batch: its collection as it was published}, for batches that are not here now."""
    found = {}
    for path in sorted((root / "collection").glob("*.json")):
        try:
            found[path.stem] = files.read_json(path)
        except GlassineError:
            continue  # written anew where its batch is here
    return found


def _write_if_new(path: Path, text: str) -> None:
    if not path.is_file() or path.read_text("utf-8") != text:
        files.write_text(path, text)
