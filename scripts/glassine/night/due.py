"""What each step is given, and which items are already as they should be.

A step is given only the settings and the item's rows that it uses, and the version of its code:
when one of them changes, the engine runs the step again, and nothing else. An item whose last
step finished with all these unchanged is settled and is not put before the engine at all, so
that a night with little to do starts quickly however long the batch is.
"""

from __future__ import annotations

import hashlib
import os
from collections import Counter
from datetime import date
from pathlib import Path
from typing import Any

import msgspec

from glassine import steps
from glassine.base import (
    access,
    captions,
    clock,
    files,
    intake_file,
    naming,
    raw_keep,
    record_files,
    sizes,
)
from glassine.base.errors import GlassineError
from glassine.base.model import BatchId, Facts, ItemId, withdraws_whole
from glassine.base.records.intake import Intake, ItemEntry
from glassine.films import record as films
from glassine.night import rules

STAMP = "done.json"
# The stamp of an item whose frames were looked at, or that is held before that.
LOOKED = "looked.json"
# {step: digest of what it was last given}, of the steps that were done with that.
STEPS_DONE = "steps.json"


# The steps that know a raw master as the picture that was developed from it.
_NAMES = [step.name for step in steps.STEPS]
_AFTER_DEVELOP = frozenset(_NAMES[_NAMES.index(steps.DEVELOP) + 1 :])


class Batch:
    """intake.json of a batch, looked up by item.

    record: it as its type, which a run decides by. entries: the items as they stand in the file:
    steps are given that JSON and digests are made of it, so that a night does not do an item anew
    because a type holds one more key. films: what render is given of each item's films, by item,
    from films.json. today: the day by which embargoes last or have ended. sha256: of the file, ""
    where nothing may be kept of it (`intake_file.Content.alike`).
    """

    def __init__(
        self,
        content: dict[str, Any],
        path: Path = Path("intake.json"),
        films: dict[str, list[dict[str, Any]]] | None = None,
        today: date | None = None,
        sha256: str = "",
    ) -> None:
        self.sha256 = sha256
        self.record = record_files.take(path, "intake", Intake, content)
        self.name: BatchId = self.record.batch
        self.content = content
        self.items: dict[ItemId, ItemEntry] = {entry.item: entry for entry in self.record.items}
        self.entries: dict[ItemId, dict[str, Any]] = {
            entry["item"]: entry for entry in content["items"]
        }
        self.films = films or {}
        self.raw_items: frozenset[ItemId] = frozenset(
            entry.item
            for entry in self.record.items
            if any(naming.is_raw(master.path) for master in entry.masters)
        )
        self.today = today or clock.today()
        self.withdrawn = _withdrawn(content)
        self._pooling: tuple[dict[str, Any], frozenset[ItemId]] | None = None
        # The settings that `_shared_text` was made of, and that text, by their identity; and the
        # settings under each set of rules (`rules.resolved`), with those that they are made of.
        self.shared: dict[int, tuple[dict[str, Any], str]] = {}
        self.resolved: dict[tuple[int, ...], tuple[dict[str, Any], dict[str, Any]]] = {}
        # The key of an item under the settings, whether its films are known or not (`key`).
        self.keys: dict[tuple[ItemId, bool], tuple[dict[str, Any], str]] = {}

    def facts(self) -> dict[str, Any]:
        """Return what holds for the whole batch: operators' role ids and target captures."""
        return {**self.content.get("facts", {}), "targets": self.content.get("targets", [])}

    def ready(self) -> list[ItemId]:
        """Return the items that go on or fail tonight: all but those that wait."""
        return [item for item, entry in self.items.items() if entry.state != "waiting"]

    def pooling(self, config: dict[str, Any]) -> frozenset[ItemId]:
        """Return the items whose negatives may share a film with other masters."""
        if self._pooling is None or self._pooling[0] is not config:
            self._pooling = (config, frozenset(_pooling(self, config)))
        return self._pooling[1]

    def waiting(self) -> list[ItemId]:
        return [item for item, entry in self.items.items() if entry.state == "waiting"]


def _withdrawn(content: dict[str, Any]) -> dict[str, access.Access]:
    """Return who may see each item that a person withdrew as a whole."""
    return {
        str(entry["item"]): access.withdrawn(entry["reason"], entry["by"], entry["when"])
        for entry in content.get("withdraw", [])
        if withdraws_whole(entry)
    }


def read_batch(path: Path, sound: str = "") -> Batch:
    """Return intake.json at `path`, with the films beside it. Raises GlassineError where it is
    damaged; films that cannot be read are none, and are made anew. sound: see
    `intake_file.read`."""
    try:
        known = films.by_item(films.read(path.parent / films.RECORD))
    except GlassineError:
        known = {}
    content = intake_file.read(path, sound)
    return Batch(content.value, path, msgspec.to_builtins(known), sha256=content.sha256)


def _pooling(batch: Batch, config: dict[str, Any]) -> list[ItemId]:
    """Return the items with masters that may share a film with another that is here: of its name,
    or of none."""
    masters = [
        (item, facts.film)
        for item in batch.ready()
        for facts in _may_share(batch.items[item], config)
    ]
    counts = Counter(film for _, film in masters)
    return [item for item, film in masters if counts[film] > 1]


def _may_share(entry: ItemEntry, config: dict[str, Any]) -> list[Facts]:
    """Return the facts of an item's masters that may share a film with others, whether or not such
    are here: what comes to the batch later makes no item due that is done."""
    pool = config["tone"]["pool"]
    stated = [master.facts or Facts() for master in entry.masters] if pool != "none" else []
    return [
        facts
        for facts in stated
        if facts.polarity != "positive" and facts.kind != "print"
        if facts.film or (pool == "found" and films.may_be_found(facts))
    ]


_NOT_GIVEN = {
    "tone": ("pool", "pool_step", "stock_library"),
    "raw": ("keep", "lossy", "light_names", "dark_names", "with_tiff"),
}


def _section(name: str, config: dict[str, Any]) -> dict[str, Any]:
    """Return a section of the settings as steps of items are given it: which films are pooled, and
    from when on they are used anew, an item is told by its films alone; of raw captures what is
    kept, and which files are which, is no reason to develop anew."""
    section = config.get(name, {})
    return {key: value for key, value in section.items() if key not in _NOT_GIVEN.get(name, ())}


# Settings that joined after results were made without them, with the defaults that they have. At
# its default such a setting says nothing about an item: it is left out of all digests, so that
# results of before are not taken for results of other settings. What it changes the version of its
# step tells. (tests/unit/night/test_earlier_results.py names one that is missing here.)
_ADDED: dict[str, dict[str, Any]] = {
    "locate": {"edge_codes": True, "seen_text": False},
    "records": {"film_names": {}, "notch_names": {}},
    "render": {"sets": []},
}


def _as_before(one: dict[str, Any]) -> dict[str, Any]:
    """Return what a step is given without the settings that were added since, at their defaults."""
    stated = one.get("settings", {})
    sections = {
        name: {
            key: value
            for key, value in stated[name].items()
            if key not in added or value != added[key]
        }
        for name, added in _ADDED.items()
        if name in stated
    }
    return {**one, "settings": {**stated, **sections}} if sections else one


def _is_set(section: dict[str, Any], key: str, default: str) -> bool:
    """Return whether a setting is another than its default."""
    return bool(section.get(key, default) != default)


def _shared(step: steps.Step, batch: Batch, config: dict[str, Any]) -> dict[str, Any]:
    """Return what the step is given for every item of the batch."""
    result: dict[str, Any] = {
        "step": step.name,
        "batch": batch.name,
        "settings": {name: _section(name, config) for name in step.sections},
        "version": steps.version(step.name),
    }
    if step.name in {"verify", "develop"}:
        # All else there is done with when intake has run: another entry of `intake.ignore` is no
        # reason to read every master again.
        result["settings"]["intake"] = {"max_pixels": config["intake"]["max_pixels"]}
    if step.name == "verify" and _is_set(config.get("raw", {}), "lossy", "note"):
        result["settings"]["raw"] = {"lossy": config["raw"]["lossy"]}
    if of_masters := rules.of_step(config, step.sections):
        result["settings"]["rules"] = of_masters
    if "batch_facts" in step.fields:
        result["batch_facts"] = batch.facts()
    if step.name in {"embed", "record"}:
        result["institution"] = config["institution"]
    if step.name == "look":
        # What is seen of a film is estimated in the step: it counts as its version too.
        result["tone"] = steps.version_of("render/tone")
    if step.name == "embed" and makes_alternates(config):
        # A version of its own: items without such pictures need not be done again for them.
        result["alternates"] = steps.version_of("base/alternates")
    if step.name in {"render", "record"} and asks_for_sets(config):
        result["sets"] = steps.version_of("render/sets")
    return result


def _own(
    step: steps.Step, batch: Batch, item: ItemId, config: dict[str, Any], pooled: bool
) -> dict[str, Any]:
    """Return what the step is given for this item alone. pooled: whether films are known yet."""
    entry = batch.entries[item]
    masters = entry["masters"]
    if item in batch.raw_items and step.name in _AFTER_DEVELOP:
        masters = [_as_picture(each) if naming.is_raw(each["path"]) else each for each in masters]
    if "facts" not in step.fields:
        masters = [{key: master[key] for key in master if key != "facts"} for master in masters]
    result: dict[str, Any] = {"item": item, "masters": masters}
    for name in step.fields:
        if name == "findings":
            result[name] = [master for master in entry["findings"] if master["severity"] == "hold"]
        elif name == "pools":
            result |= {"pools": True} if _may_share(batch.items[item], config) else {}
        elif name == "films":
            # Left out where there are none, as for items that share no film.
            shares = pooled and item in batch.films and item in batch.pooling(config)
            result |= {"films": batch.films[item]} if shares else {}
        elif name == "corrections":
            decided = entry.get(name)
            result[name] = _of_pictures(decided) if item in batch.raw_items else decided
        elif name == "calibration":
            result[name] = batch.content.get(name, [])
        elif name == "caption":
            # Left out where no set has a caption that shows such facts.
            chosen = config_of(batch, item, config)
            of_masters = chosen.get(rules.FOR_MASTERS, [])
            shown = captions.facts_of(entry.get("catalogue"), chosen, of_masters)
            result |= {name: shown} if shown else {}
        elif name in ("access", "public"):
            # Left out where all may see it, as most items state nothing.
            of_item = access_of(batch, item, config)
            told = public_of(of_item) if name == "public" else access.as_given(of_item)
            result |= {name: told} if told else {}
        elif name == "size":
            # Left out where the catalogue states none.
            stated = sizes.stated(entry.get("catalogue") or {})
            result |= {"size_mm": list(stated[0])} if stated else {}
        elif name == "keep":
            # Left out where the package holds all, as of items without raw captures.
            kept = config_of(batch, item, config).get("raw", {}).get("keep", raw_keep.BOTH)
            result |= {name: kept} if item in batch.raw_items and kept != raw_keep.BOTH else {}
        elif name == "companions":
            beside = entry.get(name, [])
            result[name] = [companion for companion in beside if companion["delivered"]]
        elif name not in ("batch_facts", "facts"):
            result[name] = entry.get(name)
    return result


def _as_picture(master: dict[str, Any]) -> dict[str, Any]:
    """Return a raw master as steps after develop know it: the picture that was made of it."""
    found = {**master, "path": naming.developed_path(master["path"]), "raw": master["path"]}
    later = master.get("superseded_by")
    if later and naming.is_raw(later):
        found["superseded_by"] = naming.developed_path(later)
    return found


def _of_pictures(corrections: dict[str, Any] | None) -> dict[str, Any] | None:
    """Return what a person decided, frames of a raw file as those of its picture."""
    frames = (corrections or {}).get("frames") or []
    if not any(naming.is_raw(frame.get("master") or "") for frame in frames):
        return corrections
    moved = [
        {**frame, "master": naming.developed_path(frame["master"])}
        if naming.is_raw(frame.get("master") or "")
        else frame
        for frame in frames
    ]
    return {**(corrections or {}), "frames": moved}


def steps_of(batch: Batch, item: ItemId) -> tuple[steps.Step, ...]:
    """Return the steps of an item."""
    return steps.of_item(item in batch.raw_items)


def access_of(batch: Batch, item: ItemId, config: dict[str, Any]) -> access.Access:
    """Return who may see an item on the day of the batch; nobody one that a person withdrew."""
    if item in batch.withdrawn:
        return batch.withdrawn[item]
    section = msgspec.convert(config.get("access", {}), access.AccessSection)
    return access.of_row(batch.items[item].catalogue, section, batch.today)


def listed_access(batch: Batch, config: dict[str, Any]) -> list[access.ListedAccess]:
    """Return the items that not all may see on the day of the batch, or that were opened lately;
    those that a person withdrew too, though they lie in the batch folder no more."""
    rows = {str(item): entry.catalogue for item, entry in batch.items.items()}
    of_items = {str(item): access_of(batch, item, config) for item in batch.items}
    told = [
        access.listed(item, rows.get(item), now, batch.today)
        for item, now in {**of_items, **batch.withdrawn}.items()
    ]
    return [each for each in told if each is not None]


def public_of(of_item: access.Access) -> dict[str, Any]:
    """Return what of an item's pictures may be public, nothing where all may be."""
    told = access.as_given(of_item)
    return {name: told[name] for name in ("public", "small_px") if name in told}


def config_of(batch: Batch, item: ItemId, config: dict[str, Any]) -> dict[str, Any]:
    """Return the settings as the rules make them for an item, one object for all alike."""
    if not config.get("rules"):
        return config
    entry = batch.items[item]
    places = rules.fitting(config, rules.Told(batch.name, item, entry.catalogue))
    known = batch.resolved.get(places)
    if known is None or known[0] is not config:
        known = batch.resolved[places] = (config, rules.resolved(config, places))
    return known[1]


def given(
    step_name: str, batch: Batch, item: ItemId, config: dict[str, Any], pooled: bool = True
) -> dict[str, Any]:
    """Return what the step is given for the item (see the module's note).

    pooled: whether the films of the batch are as they should be, or are made after this step."""
    step = steps.step(step_name)
    return _shared(step, batch, config_of(batch, item, config)) | _own(
        step, batch, item, config, pooled
    )


def makes_alternates(config: dict[str, Any]) -> bool:
    """Return whether the settings ask for pictures beside access image, thumbnail and tiles."""
    rules_of_masters = config.get(rules.FOR_MASTERS, [])
    of_masters = [rule.get("render", {}) for rule in rules_of_masters]
    forms = [rule.get("iiif", {}).get("form") for rule in rules_of_masters]
    return bool(
        any(
            made.get("alternates")
            or made.get("crop_tiff", "none") != "none"
            or made.get("tiff_spaces")
            or made.get("uninverted")
            or made.get("sets")
            for made in (config.get("render", {}), *of_masters)
        )
        or "pyramid" in (config.get("iiif", {}).get("form"), *forms)
    )


def asks_for_sets(config: dict[str, Any]) -> bool:
    """Return whether the settings ask for further sets of pictures, for any master."""
    rules_of_masters = config.get(rules.FOR_MASTERS, [])
    made = (config.get("render", {}), *(rule.get("render", {}) for rule in rules_of_masters))
    return any(each.get("sets") for each in made)


def steps_given(
    batch: Batch, item: ItemId, config: dict[str, Any], pooled: bool = True
) -> list[dict[str, Any]]:
    """Return what each step of an item is given, in order; pooled: see `given`."""
    return [given(step.name, batch, item, config, pooled) for step in steps_of(batch, item)]


def _shared_text(batch: Batch, config: dict[str, Any]) -> str:
    """Return what the steps are given for every item, as text.

    Worked out once a batch: for 10,000 items it would cost more than all the rest.
    """
    known = batch.shared.get(id(config))
    if known is None or known[0] is not config:
        shared = [_as_before(_shared(step, batch, config)) for step in steps.of_item(raw=False)]
        text = files.canonical(shared)
        known = batch.shared[id(config)] = (config, text)
    return known[1]


def key(batch: Batch, item: ItemId, config: dict[str, Any], pooled: bool = True) -> str:
    """Return a digest of all that the steps of an item are given; pooled: see `given`.

    Worked out once: the night asks for it for what is due, for the delivery and for the job."""
    known = batch.keys.get((item, pooled))
    if known is None or known[0] is not config:
        known = batch.keys[item, pooled] = (config, _key(batch, item, config, pooled))
    return known[1]


def _key(batch: Batch, item: ItemId, config: dict[str, Any], pooled: bool) -> str:
    own: dict[str, Any] = {}
    for step in steps_of(batch, item):
        # What two steps are given is the same for both.
        own |= _own(step, batch, item, config, pooled)
        if step.name == steps.DEVELOP:
            own[step.name] = _shared(step, batch, config_of(batch, item, config))
    own["masters"] = batch.entries[item]["masters"]  # but for the facts on them
    text = _shared_text(batch, config_of(batch, item, config)) + files.canonical(own)
    return hashlib.sha256(text.encode()).hexdigest()


def carry_keys(before: Batch, batch: Batch, config: dict[str, Any]) -> None:
    """Take the keys of items that intake took in anew and found as they were, where nothing else
    that keys are made of is another."""
    same = (
        _but_items(before) == _but_items(batch)
        and before.films == batch.films
        and before.today == batch.today
        and before.pooling(config) == batch.pooling(config)
    )
    if not same:
        return
    for (item, pooled), known in before.keys.items():
        if known[0] is config and batch.entries.get(item) == before.entries[item]:
            batch.keys[item, pooled] = known


def _but_items(batch: Batch) -> dict[str, Any]:
    return {name: value for name, value in batch.content.items() if name != "items"}


def digest(step_given: dict[str, Any]) -> str:
    """Return a digest of what a step is given."""
    return hashlib.sha256(files.canonical(_as_before(step_given)).encode()).hexdigest()


def steps_done(item_dir: Path) -> dict[str, str]:
    """Return {step: digest of what it was given}; empty where the record is missing or bad."""
    try:
        done = files.read_json(item_dir / STEPS_DONE)
    except GlassineError:
        return {}
    return done if isinstance(done, dict) else {}


def first_due(done: dict[str, str], given: list[dict[str, Any]], item_dir: Path) -> int:
    """Return the place of the first step that must run; len(given) where all is as it should be.

    A step must run where it was given something else or one of its records is missing.
    """
    for place, one in enumerate(given):
        records = steps.records_of(one)
        whole = all((item_dir / name).is_file() for name in records)
        if done.get(one["step"]) != digest(one) or not whole:
            return place
    return len(given)


def is_looked_at(batch: Batch, item: ItemId, item_dir: Path, config: dict[str, Any]) -> bool:
    """Return whether all steps up to the look were done with what they are given now."""
    half = steps.first_half()
    first_half = [step for step in steps_of(batch, item) if step in half]
    needed = [given(step.name, batch, item, config) for step in first_half]
    return first_due(steps_done(item_dir), needed, item_dir) == len(needed)


def looks_key(batch: Batch, items: list[ItemId], config: dict[str, Any]) -> str:
    """Return a digest of all that the looks of these items depend on."""
    half = steps.first_half()
    shared = [_shared(step, batch, config) for step in half if step.name != steps.DEVELOP]
    own: list[dict[str, Any]] = []
    for item in items:
        parts: dict[str, Any] = {"masters": batch.entries[item]["masters"]}
        for step in (step for step in steps_of(batch, item) if step in half):
            if step.name == steps.DEVELOP:
                parts[step.name] = _shared(step, batch, config)
            made = _own(step, batch, item, config, False)
            parts |= {name: value for name, value in made.items() if name != "masters"}
        own.append(parts)
    return hashlib.sha256(files.canonical([shared, own]).encode()).hexdigest()


def write_stamp(item_dir: Path, item_key: str, given: list[dict[str, Any]]) -> None:
    """Write that every step of the item is done, and what it was given."""
    records = [name for one in given for name in steps.records_of(one)]
    stats = {name: (item_dir / name).stat().st_size for name in records}
    stamp = {"key": item_key, "files": stats, "inputs": inputs_of(given)}
    pools = any(one.get("pools") for one in given)
    files.write_json(item_dir / STAMP, stamp | ({"pools": True} if pools else {}))


# Versions beside `version`: of code that a step uses (`_shared`).
_VERSIONS = frozenset({"version", "tone", "alternates", "sets"})


def inputs_of(given: list[dict[str, Any]]) -> str:
    """Return a digest of all that the steps of an item are given but for the versions of the
    software and what follows from them: the values of its films, and the times of its masters,
    whose bytes are compared by themselves. It changes where something about the item does."""
    parts = [
        {key: value for key, value in one.items() if key not in _VERSIONS and key != "films"}
        | {"masters": [_without_times(master) for master in one.get("masters", [])]}
        for one in map(_as_before, given)
    ]
    return hashlib.sha256(files.canonical(parts).encode()).hexdigest()


def _without_times(master: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in master.items() if key != "mtime_ns"}


def delivered_inputs(items_dir: Path, items: list[str], pooling: dict[str, Any]) -> dict[str, str]:
    """Return {item: `inputs_of` what it was made of} of items whose stamps tell it. Of one whose
    negatives may share a film the others that may are part of it. pooling: the settings on that."""
    own: dict[str, str] = {}
    pools: dict[str, str] = {}
    for item in items:
        try:
            stamp = files.read_json(items_dir / item / STAMP)
            own[item] = str(stamp["inputs"])
        except (GlassineError, KeyError, TypeError):
            continue
        if stamp.get("pools"):
            pools[item] = own[item]
    together = files.canonical([pooling, pools])
    return {
        item: hashlib.sha256(f"{digest} {together}".encode()).hexdigest()
        if item in pools
        else digest
        for item, digest in own.items()
    }


def is_settled(item_dir: Path, item_key: str) -> bool:
    """Return whether the item's stamp carries this key, its records are in place and it is not
    held."""
    return settled_records(item_dir, item_key) is not None


def settled_records(item_dir: Path, item_key: str) -> list[str] | None:
    """Return the records that the stamp of a settled item names, None of one that is not settled
    (see `is_settled`)."""
    stamp = item_dir / STAMP
    if not stamp.exists() or (item_dir / "held.json").exists():
        return None
    folder = str(item_dir)
    try:
        written = files.read_json(stamp)
        settled = written["key"] == item_key and all(
            os.stat(f"{folder}/{name}").st_size == size  # noqa: PTH116 - a third of the time
            for name, size in written["files"].items()
        )
        return [*written["files"]] if settled else None
    except (GlassineError, OSError, KeyError, TypeError, AttributeError):
        return None


def unsettled(batch: Batch, items_dir: Path, config: dict[str, Any]) -> list[ItemId]:
    """Return the items that the engine must look at tonight, in order."""
    return [
        item
        for item in asked_for(batch, config)
        if not is_settled(items_dir / item, key(batch, item, config))
    ]


def asked_for(batch: Batch, config: dict[str, Any]) -> list[ItemId]:
    """Return the items that a run is for, of those that do not wait."""
    only = set(config["only"])
    return [item for item in batch.ready() if not only or item in only]


def delivery_key(batch: Batch, config: dict[str, Any]) -> str:
    """Return a digest of all that a delivery of the whole batch depends on."""
    parts = [key(batch, item, config) for item in batch.ready()]
    withdrawn = batch.content.get("withdraw", [])
    text = files.canonical([parts, withdrawn, config["delivery"], config["institution"]])
    return hashlib.sha256(text.encode()).hexdigest()
