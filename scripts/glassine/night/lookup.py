"""What the rules look up: which items are due, and what each step of item and batch is given.

All of it is asked while the graph is made, and again once intake has run. What a step is given is
plain JSON: it goes through the engine's params.
"""

from __future__ import annotations

import functools
import os
import sys
from pathlib import Path
from typing import Any

import msgspec

from glassine import steps
from glassine.base import naming, wording
from glassine.base.errors import GlassineError
from glassine.base.model import ItemId
from glassine.deliver import receipt_files, same_ids
from glassine.films import record as films
from glassine.intake.given import CatalogueSettings
from glassine.night import due, leading, rules, settled
from glassine.night.lock import RunLock
from glassine.night.workplace import Workplace

# Working memory of render, measured: tests/benchmarks/pixels/README.md.
RENDER_BASE_MB = 400
RENDER_BYTES_PER_PIXEL = 8


# The output of rule `films`; films.json itself is none, as the engine removes outputs.
FILMS_STAMP = "films-made.json"


def _mtime_ns(path: Path) -> int:
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0


class Lookup:
    """What is known of the batches of one run, read from their intake.json as it is on disk."""

    def __init__(self, place: Workplace, lock: RunLock) -> None:
        self.place = place
        self.config = place.config
        self.lock = lock
        self._read = functools.lru_cache(maxsize=64)(self._read_batch)
        self._due = functools.lru_cache(maxsize=64)(self._find_due)
        self._kept: dict[str, list[ItemId]] = {}
        self._latest: dict[str, due.Batch] = {}
        self._unlooked: dict[tuple[str, int], list[ItemId]] = {}
        self._standing = functools.lru_cache(maxsize=64)(self._find_standing)
        self._delivery_key = functools.lru_cache(maxsize=64)(self._find_delivery_key)

    # --- batch and items ---

    def _read_batch(self, path: str, mtime_ns: int, films_ns: tuple[int, int]) -> due.Batch:
        results = Path(path).parent
        kept = settled.read(results)
        batch = due.read_batch(Path(path), kept.intake)
        before = self._latest.get(batch.name)
        if before is not None:
            due.carry_keys(before, batch, self.config)
        settled.use_keys(kept, batch, self.config)
        self._latest[batch.name] = batch
        return batch

    def batch(self, name: str) -> due.Batch:
        """Return intake.json of a batch, and its films, as they are on disk now."""
        path, results = self.place.intake_path(name), self.place.results_dir(name)
        films_ns = (_mtime_ns(results / films.RECORD), _mtime_ns(results / FILMS_STAMP))
        return self._read(str(path), path.stat().st_mtime_ns, films_ns)

    def known(self, name: str) -> due.Batch | None:
        """Return intake.json of a batch, or None while there is none that can be read."""
        try:
            return self.batch(name)
        except (OSError, GlassineError):
            return None

    def steps_given(self, name: str, item: str, pooled: bool = True) -> list[dict[str, Any]] | None:
        """Return what each step is given, or None while intake has not told of the item yet.

        pooled: whether the films of the batch are as they should be."""
        batch, known_as = self.known(name), ItemId(item)
        if batch is None or known_as not in batch.items:
            return None
        return due.steps_given(batch, known_as, self.config, pooled)

    def item_key(self, name: str, item: str, pooled: bool = True) -> str | None:
        """Return a digest of all that the item's steps are given, None as `steps_given` does."""
        batch, known_as = self.known(name), ItemId(item)
        if batch is None or known_as not in batch.items:
            return None
        return due.key(batch, known_as, self.config, pooled)

    def render_mb(self, name: str, item: str) -> int:
        """Return the memory in MB that rendering the item's largest master may take."""
        batch = self.known(name)
        entry = batch.items.get(ItemId(item)) if batch else None
        sizes = [master.size_px for master in entry.masters] if entry else []
        pixels = max((size[0] * size[1] for size in sizes if size), default=0)
        return RENDER_BASE_MB + int(pixels * RENDER_BYTES_PER_PIXEL / 2**20)

    def unsettled(self, name: str) -> list[ItemId]:
        """Return the items that are due tonight. The stamp of one that is not as it should be is
        taken away by the run that works: to the engine it would say that all is well.

        Several rules ask; for an intake.json as it is now it is looked up once a run."""
        return self._due(self.batch(name))

    def _find_due(self, batch: due.Batch) -> list[ItemId]:
        results = self.place.results_dir(batch.name)
        items_dir = results / "items"
        look = settled.Look(settled.read(results))
        unsettled = look.unsettled(batch, items_dir, self.config)
        if self.lock.held and not self.config["only"]:
            look.keep(results, batch, self.config)
        unsettled = self._without_kept(batch, items_dir, unsettled)
        if self.lock.held:
            for item in unsettled:
                (items_dir / item / due.STAMP).unlink(missing_ok=True)
            pooling = batch.pooling(self.config)
            for item in {*unsettled} - pooling:
                # Of a night when it took two jobs: it would be held for what was then.
                (items_dir / item / due.LOOKED).unlink(missing_ok=True)
            if not pooling:
                self._forget_films(batch.name)
        return unsettled

    def _without_kept(
        self, batch: due.Batch, items_dir: Path, unsettled: list[ItemId]
    ) -> list[ItemId]:
        """Return the unsettled items but for those that stay as delivered, which is said."""
        self._kept[batch.name] = []
        if not unsettled or self.config["delivery"]["on_new_version"] != "keep":
            return unsettled
        from glassine.night import kept

        receipts = receipt_files.read(self.place.deliveries, batch.name).sound
        staying = kept.kept(batch, items_dir, self.config, unsettled, receipts)
        self._kept[batch.name] = sorted(staying)
        if staying and self.lock.held:
            names = wording.some(sorted(staying), 8)
            sys.stderr.write(
                f"{batch.name}: {len(staying):,} items stay as they were delivered, though newer "
                f"software would make them otherwise (delivery.on_new_version is `keep`): {names}\n"
            )
        return [item for item in unsettled if item not in {*staying}]

    def _forget_films(self, name: str) -> None:
        """Remove the films of a batch in which none is shared any more: the report shows them."""
        for record in (films.RECORD, FILMS_STAMP):
            (self.place.results_dir(name) / record).unlink(missing_ok=True)

    # --- films ---

    def pools(self, name: str) -> bool:
        """Return whether items of the batch may share films: then the films are made, or are as
        they should be, before items that may be of one are rendered."""
        return bool(self.batch(name).pooling(self.config))

    def unlooked(self, name: str) -> list[ItemId]:
        """Return the items whose frames must be looked at before the films are made. The stamp of
        the look is taken away by the run that works, as the last record is by `unsettled`.

        Looked up once a run for an intake.json: what is held by then stays looked at tonight."""
        key = (name, self.place.intake_path(name).stat().st_mtime_ns)
        if key not in self._unlooked:
            self._unlooked[key] = self._find_unlooked(self.batch(name))
        return self._unlooked[key]

    def _find_unlooked(self, batch: due.Batch) -> list[ItemId]:
        items_dir = self.place.results_dir(batch.name) / "items"
        pooling = batch.pooling(self.config)
        unlooked = [
            item
            for item in self._due(batch)
            if item in pooling and not due.is_looked_at(batch, item, items_dir / item, self.config)
        ]
        if self.lock.held:
            for item in unlooked:
                (items_dir / item / due.LOOKED).unlink(missing_ok=True)
        return unlooked

    def _stock_names(self) -> dict[str, Any]:
        """Return what intake is given of film stocks; of the library only where it is used."""
        tone = self.config["tone"]
        library = tone["stock_library"]
        told = {} if library == "none" else {"stock_library": library}
        return {"film_stocks": tone["film_stocks"], **told}

    def films_given(self, name: str) -> dict[str, Any] | None:
        """Return what the pooling of films is given; `key` changes with what their frames are."""
        batch = self.known(name)
        if batch is None:
            return None
        pooling = batch.pooling(self.config)
        items = [item for item in batch.items if item in pooling]
        return {
            "batch": name,
            "items": items,
            "settings": {"tone": self.config["tone"]},
            "key": due.looks_key(batch, items, self.config),
            "version": [steps.version_of(f"{room}/step") for room in ("look", "films")]
            + [steps.version_of("render/tone")],
        }

    def drop_damaged_films(self, name: str) -> None:
        """Remove the stamp of films that cannot be read: they are made anew."""
        results = self.place.results_dir(name)
        try:
            films.read(results / films.RECORD)
        except GlassineError:
            (results / FILMS_STAMP).unlink(missing_ok=True)

    # --- intake ---

    def drop_damaged_intake(self, name: str) -> None:
        """Remove an intake.json that cannot be used: intake makes it anew."""
        path = self.place.intake_path(name)
        try:
            if path.exists():
                self.batch(name)
        except GlassineError:
            path.unlink()

    def intake_given(self, name: str) -> dict[str, Any]:
        """Return what intake is given; `listing` changes when the folder does."""
        from glassine.intake import side_files
        from glassine.intake import step as intake
        from glassine.intake.catalogue import mapping

        self.drop_damaged_intake(name)
        waiting = self.place.intake_path(name).exists() and self.batch(name).waiting()
        batch_dir = self.place.batch_dir(name)
        settings = msgspec.convert(self.config, CatalogueSettings)
        catalogue = side_files.catalogue_path(batch_dir, settings)
        read = [catalogue] if catalogue else []
        if settings.catalogue.mapping:
            read.append(mapping.path_of(settings.catalogue.mapping))
        return {
            "batch": name,
            "settings": {
                **{key: self.config[key] for key in ("naming", "intake", "catalogue", "rights")},
                **self._raw_names(),
                "identifiers": {"ark_checked": self.config["identifiers"]["ark_checked"]},
                # Of who may see an item, intake reads the words alone.
                "access": {"words": self.config["access"]["words"]},
                "tone": self._stock_names(),
            },
            "listing": intake.fingerprint(batch_dir, read),
            # Time alone makes a waiting file ready: look again each run while one waits.
            "leader": leading.mark_of(os.getpid()) if waiting else None,
            "version": [intake.VERSION, steps.version_of("intake/catalogue/reading")],
        }

    def _raw_names(self) -> dict[str, Any]:
        raw = self.config.get("raw", {})
        names = {key: raw[key] for key in ("light_names", "dark_names") if raw.get(key)}
        if raw.get("with_tiff", "companion") != "companion":
            names["with_tiff"] = raw["with_tiff"]
        return {"raw": names} if names else {}

    def minting_given(self) -> dict[str, Any]:
        """Return where ARKs that were made are listed, and how new ones are."""
        return {
            "mint": self.config["identifiers"]["mint"],
            "results": str(self.place.results),
            "deliveries": str(self.place.deliveries),
        }

    # --- targets ---

    def has_targets(self, name: str) -> bool:
        """Return whether there are target captures to measure, or the settings demand some."""
        return bool(self.batch(name).record.targets) or self.config["targets"]["required"]

    def targets_given(self, name: str) -> dict[str, Any] | None:
        """Return what the measuring of targets is given; it changes when a capture does."""
        batch = self.known(name)
        if batch is None:
            return None
        targets = batch.content["targets"]
        given = {
            "batch": name,
            "targets": targets,
            "facts": batch.content.get("default_facts", {}),
            "settings": {"targets": self.config["targets"]},
            "version": steps.version_of("targets/step"),
        }
        captures = [each["path"] for target in targets for each in target["captures"]]
        if any(naming.is_raw(path) for path in captures):
            given["develop"] = self._develop_given(batch)
        return given

    def _develop_given(self, batch: due.Batch) -> dict[str, Any]:
        """Return what the development of raw target captures is given: as an item's is."""
        sections = steps.step(steps.DEVELOP).sections
        return {
            "item": "targets",
            "masters": [],
            "calibration": batch.content.get("calibration", []),
            "facts": batch.content.get("default_facts", {}),
            "settings": {section: self.config[section] for section in sections},
            "version": steps.version(steps.DEVELOP),
        }

    # --- delivery and report ---

    def delivers(self, name: str) -> bool:
        """Return whether the batch may be delivered once all that is due tonight is done."""
        batch = self.batch(name)
        # One of which nothing is left was delivered all the same: that is to be told.
        begun = batch.ready() or receipt_files.exist(self.place.deliveries, name)
        if self.config["only"] or not begun:
            return False
        return self.config["delivery"]["when"] != "complete" or not batch.waiting()

    def standing(self, name: str) -> dict[str, Any]:
        """Return what of the batch's deliveries is not as it was (see receipt_files.mark), and
        which other batches have its ids."""
        try:
            return self._standing(name, self.batch(name))
        except (OSError, GlassineError, KeyError, TypeError):
            return self._standing(name, None)

    def _find_standing(self, name: str, batch: due.Batch | None) -> dict[str, Any]:
        deliveries = self.place.deliveries
        items = batch.items if batch else ()
        twice = same_ids.mark(self.place.results, deliveries, name, items)
        marked = receipt_files.mark(deliveries, name)
        return {**marked, **({"same_ids": twice} if twice else {})}

    def delivery_given(self, name: str) -> dict[str, Any]:
        """Return what a delivery is given; which items it holds is looked up when it starts."""
        return {
            "batch": name,
            "settings": {"delivery": self.config["delivery"], "package": self.config["package"]},
            "institution": self.config["institution"],
            "pooling": {key: self.config["tone"][key] for key in ("pool", "pool_step")},
        }

    def delivery_key(self, name: str) -> str | None:
        """Return a digest of all that a delivery and a report of the batch depend on."""
        batch = self.known(name)
        return self._delivery_key(batch) if batch else None

    def _find_delivery_key(self, batch: due.Batch) -> str:
        return due.delivery_key(batch, self.config)

    def handover_given(self, name: str) -> dict[str, Any]:
        """Return what a handover to the collections system is given."""
        return {
            "batch": name,
            "settings": {key: self.config[key] for key in ("handover", "iiif", "identifiers")},
            "deliveries": str(self.place.deliveries),
        }

    def report_given(self, name: str) -> dict[str, Any]:
        return {
            "batch": name,
            "settings": {
                key: self.config[key]
                for key in ("report", "iiif", "catalogue", "rights", "delivery")
            }
            | {"naming": {"same_number": self.config["naming"]["same_number"]}},
            "institution": self.config["institution"],
            "deliveries": str(self.place.deliveries),
            "masters": str(self.place.batch_dir(name)),
            "rules_unused": self._rules_unused(name),
            "access": self.listed_access(name),
            "kept": self.kept(name),
        }

    def kept(self, name: str) -> list[ItemId]:
        """Return the items of a batch that stay as they were delivered, by
        `delivery.on_new_version`."""
        if self.config["delivery"]["on_new_version"] != "keep" or self.known(name) is None:
            return []
        self.unsettled(name)
        return self._kept.get(name, [])

    def listed_access(self, name: str) -> list[dict[str, Any]]:
        """Return the items of a batch that not all may see today, or that were opened lately."""
        batch = self.known(name)
        listed = due.listed_access(batch, self.config) if batch else []
        return [msgspec.to_builtins(each) for each in listed]

    def _rules_unused(self, name: str) -> list[str]:
        """Return in words which rules of the settings hold for no item of a batch."""
        batch = self.known(name)
        items = batch.items.values() if batch else []
        return rules.unused(
            self.config, (rules.Told(name, each.item, each.catalogue) for each in items)
        )
