"""Settings that do not go with each other, or name what is not there: told before a run starts.

The schema says what one key may hold; here stands what only shows when keys, files and the code
that uses them are looked at together. Each would otherwise end in a wrong result that looks right,
or stop every item of the night one by one.
"""

from __future__ import annotations

import math
import os
import re
import urllib.parse
from collections.abc import Callable, Iterator
from email.headerregistry import Address
from pathlib import Path
from typing import Any

from glassine.base import alternates, captions, naming, settings, zones
from glassine.base.errors import Finding, GlassineError
from glassine.intake import catalogue_place
from glassine.night import rules

_WHERE = "config/config.yaml"


def _finding(key: str, what: str, expected: str, next_step: str = "") -> Finding:
    return Finding(f"settings.{key}", _WHERE, what, expected, next_step or f"Correct `{key}`.")


def check(config: dict[str, Any], working_dir: Path) -> None:
    """Raise GlassineError with one finding per contradiction.

    config: complete settings; working_dir: where relative paths of the settings begin.
    """
    found = [*_not_finite(config, "")]
    for looks in _CHECKS:
        try:
            found += looks(config, working_dir)
        except GlassineError as problem:
            found += problem.findings
    if found:
        raise GlassineError(found)


def notes(config: dict[str, Any]) -> list[str]:
    """Return what is told of settings that do nothing as they stand together."""
    found = []
    if config["iiif"]["form"] == "pyramid" and not config["package"]["include_tiles"]:
        found.append(
            "package.include_tiles concerns tiles, and iiif.form makes pyramids: these are in the "
            "packages all the same"
        )
    return found


def _not_finite(value: Any, key: str) -> Iterator[Finding]:
    """No limit holds against a value that is no number."""
    if isinstance(value, float) and not math.isfinite(value):
        yield _finding(key, f"{key} is {value}.", "a number.")
    pairs: list[tuple[str, Any]] = []
    if isinstance(value, dict):
        pairs = [(f"{key}.{name}" if key else str(name), part) for name, part in value.items()]
    elif isinstance(value, list):
        pairs = [(key, part) for part in value]
    for name, part in pairs:
        yield from _not_finite(part, name)


def _check_naming(config: dict[str, Any], _: Path) -> list[Finding]:
    stated = config["naming"]
    naming.compile_pattern(stated["pattern"], stated["pattern_of"], stated["item"], stated["parts"])
    asked = _sets(config)
    wrong = [finding for key, stated in asked for finding in _check_sets(key, stated)]
    if not wrong:
        names = dict.fromkeys(each["name"] for _, stated in asked for each in stated)
        naming.check_template(config["naming"]["derivative"], [*names])
    return wrong


def _sets(config: dict[str, Any]) -> list[tuple[str, list[dict[str, Any]]]]:
    """Return (where it stands, the sets of pictures) of the settings and of each of their rules."""
    stated = [("render.sets", config["render"].get("sets", []))]
    for number, rule in enumerate(config.get("rules") or [], 1):
        render = rule["set"].get("render", {})
        stated.append((f"rules, entry {number}: render.sets", render.get("sets", [])))
    return stated


def _check_sets(key: str, stated: list[dict[str, Any]]) -> Iterator[Finding]:
    """Yield what keeps the pictures of sets from being made, or from having names of their own."""
    seen: set[str] = set()
    for each in stated:
        name, deep = each["name"], each.get("bits", 8) == 16
        place = f"{key}: the set {name!r}"
        if name in seen or name in alternates.RESERVED:
            what = "is stated twice" if name in seen else "has the name of another picture"
            expected = f"a name of its own, and none of {', '.join(alternates.RESERVED)}."
            yield _finding("sets_name", f"{place} {what}.", expected, f"Rename it in `{key}`.")
        seen.add(name)
        if deep and each["form"] != "tiff":
            yield _wrong_set(key, f"{place} is of 16 bits.", "form: tiff where bits is 16.")
        if deep and any(each.get(size) for size in ("long_edge", "ppi", "sharpen")):
            what = f"{place} is of 16 bits, and of another size or sharpened."
            yield _wrong_set(key, what, "full size as rendered where bits is 16.")
        if each.get("profile") == "linear" and not deep:
            what = f"{place} has the profile linear in 8 bits."
            yield _wrong_set(key, what, "bits: 16 for that profile, or its shadows break up.")
        web = each["form"] in ("webp", "avif", "jp2")
        if each["form"] == "jp2" and not _writes_jp2():
            what = (
                f"{place} is a jp2, which the library for pictures that is installed cannot write."
            )
            yield _wrong_set(key, what, "another form, or that library built with JPEG 2000.")
        if web and each.get("profile", "srgb") != "srgb":
            what = f"{place} has the profile {each['profile']}, and is a {each['form']}."
            yield _wrong_set(key, what, "form: jpeg or tiff for another profile than srgb.")
        if each.get("effort") is not None and each["form"] not in ("webp", "avif"):
            what = f"{place} states an effort, and is a {each['form']}."
            yield _wrong_set(key, what, "effort for webp and avif alone.")
        if web and each.get("tone") == "uninverted":
            what = f"{place} is not inverted, and a {each['form']}."
            yield _wrong_set(key, what, "form: jpeg or tiff where tone is uninverted.")
        yield from _check_caption(key, place, each)
        if each.get("publish") and not each.get("deliver", True):
            what = f"{place} stays with the studio, and is to be published."
            yield _wrong_set(key, what, "deliver: true where publish is true.")


def _writes_jp2() -> bool:
    from glassine.render import encoded  # loads the libraries of pictures

    return encoded.can_write("jp2")


def _check_caption(key: str, place: str, each: dict[str, Any]) -> Iterator[Finding]:
    caption = each.get("caption")
    if caption is None:
        if each.get("caption_place"):
            what = f"{place} says where its caption is to be, and has none."
            yield _wrong_set(key, what, "caption, too, where caption_place is stated.")
        return
    if problem := captions.problem_of(caption):
        what = f"{place} has a caption that {problem}."
        expected = f"a text with fields of {', '.join(captions.FIELDS)} in braces, parts that may "
        yield _wrong_set(key, what, f"{expected}be left out in square brackets.")
    if each.get("bits", 8) == 16:
        what = f"{place} has a caption, and is of 16 bits."
        yield _wrong_set(key, what, "a caption on pictures of 8 bits alone.")


def _wrong_set(key: str, what: str, expected: str) -> Finding:
    return _finding("sets", what, expected, f"Correct the set in `{key}`.")


def _check_rules(config: dict[str, Any], _: Path) -> list[Finding]:
    return rules.check(config)


def _unreadable(path: Path) -> str:
    """Return why a path is no regular, readable file; empty where it is one."""
    try:
        if not path.is_file():
            return "is no regular file" if path.exists() else "does not exist"
        with path.open("rb"):
            return ""
    except (OSError, ValueError) as problem:
        return f"cannot be read ({getattr(problem, 'strerror', None) or problem})"


def _plain_file(key: str, value: str | None, base: Path) -> Iterator[Finding]:
    """Yield a finding where a setting names a file that is no regular, readable file."""
    why = "" if value is None else _unreadable(base / value)
    if why:
        what = f"The file that `{key}` names {why}: {base / str(value)}."
        yield _finding(key, what, "a file that can be read.")


def _check_catalogue_path(value: str | None, base: Path) -> list[Finding]:
    """Return what is wrong with `catalogue.path`; of a path that differs from batch to batch
    intake says whether it is there."""
    if value is None or not catalogue_place.is_pattern(value):
        return [*_plain_file("catalogue.path", value, base)]
    why = catalogue_place.wrong(value)
    if not why:
        return []
    what = f"`catalogue.path` ({value}) cannot be used: {why}."
    expected = "a path with {batch}, {folder}/ before it, or * in its last part."
    return [_finding("catalogue.path", what, expected)]


def _check_files(config: dict[str, Any], working_dir: Path) -> list[Finding]:
    found = [
        *_check_catalogue_path(config["catalogue"]["path"], working_dir),
        *_plain_file("quality.limits", config["quality"]["limits"], working_dir),
        *_plain_file("report.viewer", config["report"]["viewer"], settings.PROJECT),
    ]
    found += _check_mapping(config["catalogue"]["mapping"])
    schemas = config["records"]["schema_dir"]
    if schemas is not None and not os.path.isdir(working_dir / schemas):  # noqa: PTH112
        what = f"The folder that `records.schema_dir` names does not exist: {schemas}."
        found.append(_finding("records.schema_dir", what, "a folder with XSD files."))
    return found


def _check_mapping(name: str | None) -> list[Finding]:
    """Return what is wrong with the mapping table of catalogues."""
    from glassine.intake.catalogue import mapping

    try:
        if name:
            mapping.load(mapping.find(name))
    except GlassineError as problem:
        return list(problem.findings)
    return []


def _check_limits(config: dict[str, Any], working_dir: Path) -> list[Finding]:
    """A row of no measure would limit nothing; the rest would fail each frame for itself."""
    from glassine.render.given import QualitySection
    from glassine.render.quality import limits

    section = config["quality"]
    if section["limits"] is None or _unreadable(working_dir / section["limits"]):
        return []
    table = QualitySection(level=section["level"], limits=str(working_dir / section["limits"]))
    known = settings.read_own(limits.LIMITS_PATH)["limits"]
    loaded = settings.read_yaml((working_dir / section["limits"]).resolve())
    rows = loaded.get("limits") if isinstance(loaded, dict) else None
    found = []
    for name in rows if isinstance(rows, dict) else {}:
        if name not in known:
            what = f"{section['limits']} limits {name!r}, and there is no such measure."
            expected = f"names out of {', '.join(known)}."
            found.append(_finding("quality.limits", what, expected, "Correct the name there."))
    for name in known:
        for column in ("film_small", "film_large", "print"):
            limits.limit(name, column, table)
    return found


def _check_profile(config: dict[str, Any], _: Path) -> list[Finding]:
    from glassine.pack import layouts

    known = sorted(layouts.all_layouts())
    if config["package"]["profile"] in known:
        return []
    what = f"There is no layout of packages named {config['package']['profile']!r}."
    return [_finding("package.profile", what, f"one of {', '.join(known)}.")]


def _check_tables(config: dict[str, Any], _: Path) -> list[Finding]:
    """A level asked of a table that is not there would ask nothing."""
    tables = settings.read_own(settings.PROJECT / "config" / "target_limits.yaml")["tables"]
    found = []
    for name in config["targets"]["tables"]:
        if name not in tables:
            expected = f"names out of {', '.join(tables)}."
            found.append(_finding("targets.tables", f"There is no table {name!r}.", expected))
    for name, level in config["targets"]["require"].items():
        own = [key for key, table in tables.items() if name in (key, table["family"])]
        levels = {str(each) for key in own for each in tables[key]["levels"]}
        if not own:
            what = f"`targets.require` asks for a level of {name!r}, and there is no such table."
            families = {table["family"] for table in tables.values()}
            expected = f"a table or a family: {', '.join(sorted({*tables, *families}))}."
            found.append(_finding("targets.require", what, expected))
        elif level not in levels:
            what = f"`targets.require` asks for the level {level!r} of {name}."
            expected = f"one of {', '.join(sorted(levels))}."
            found.append(_finding("targets.require", what, expected))
    return found


def _check_tiles(config: dict[str, Any], _: Path) -> list[Finding]:
    base = config["iiif"]["base_url"]
    if not base:  # that it must be set is told by identity.check_identity
        return []
    try:
        parts = urllib.parse.urlsplit(base)
        sound = bool(parts.hostname) and not parts.query and not parts.fragment
    except ValueError:
        sound = False
    if sound:
        return []
    expected = "a web address as https://images.port-ellery.example/iiif."
    return [_finding("iiif.base_url", f"iiif.base_url is {base!r}.", expected)]


def _check_store(config: dict[str, Any], _: Path) -> list[Finding]:
    if config["store"]["deliveries"] and config["delivery"]["form"] == "folder":
        what = "store.deliveries is set, and delivery.form is `folder`: an object is one file."
        return [_finding("delivery.form", what, "`tar` or `zip` where deliveries go to a store.")]
    return []


def _is_address(text: str) -> bool:
    try:
        found = Address(addr_spec=text)
    except (ValueError, IndexError, TypeError, AttributeError):
        return False
    plain = not re.search(r"[\s\x00-\x1f<>,;]", text)
    return bool(plain and found.username and found.domain)


def _check_notify(config: dict[str, Any], _: Path) -> list[Finding]:
    section = config["report"]["notify"]
    found = []
    if section["webhook"] is not None:
        try:
            parts = urllib.parse.urlsplit(section["webhook"])
            sound = parts.scheme in {"http", "https"} and bool(parts.hostname)
            sound = sound and parts.port != 0  # raises where it is no number
        except ValueError:
            sound = False
        if not sound or re.search(r"[\s\x00-\x1f]", section["webhook"]):
            what = f"report.notify.webhook is {section['webhook']!r}."
            expected = "a web address that begins with https:// or http://, or null."
            found.append(_finding("report.notify.webhook", what, expected))
    mail = section["mail"]
    for address in [*mail["to"], *([mail["sender"]] if mail["to"] else [])]:
        if not _is_address(address):
            what = f"{address!r} in report.notify.mail is no mail address."
            expected = "an address as in film@archive.port-ellery.example."
            found.append(_finding("report.notify.mail", what, expected))
    return found


def _check_time_zone(config: dict[str, Any], _: Path) -> list[Finding]:
    name = config["report"]["time_zone"]
    if name is None or zones.is_known(name):
        return []
    what = f"report.time_zone is {name!r}, which this machine does not know."
    expected = "a name of the IANA time zone database, such as Europe/Berlin, or null for UTC."
    next_step = (
        "Correct `report.time_zone`, or install the system's package of time zones (tzdata)."
    )
    return [_finding("report.time_zone", what, expected, next_step)]


_CHECKS: tuple[Callable[[dict[str, Any], Path], list[Finding]], ...] = (
    _check_naming,
    _check_rules,
    _check_files,
    _check_limits,
    _check_profile,
    _check_tables,
    _check_tiles,
    _check_store,
    _check_notify,
    _check_time_zone,
)
