"""What happened to an item, from the exposure of its masters to its record."""

from __future__ import annotations

import json
from typing import Any

from glassine import __version__
from glassine.base import alternates, premis_event
from glassine.record import capture_time, mix
from glassine.record.facts import FileFacts, ItemFacts
from glassine.record.premis import Agent, Event, History, object_name

EXECUTED, DECIDED, OWNS = "executing program", "implementer", "responsible organization"
RAN_ON = "processor"


def _json(value: Any) -> str:
    return json.dumps(value, sort_keys=True, ensure_ascii=False, allow_nan=False)


def _software(event: dict[str, Any]) -> tuple[tuple[Agent, str], ...]:
    used = event.get("software") or {"glassine": __version__}
    found = [(Agent("software", name, used[name]), EXECUTED) for name in sorted(used)]
    architecture = event.get("processor")
    if architecture:
        note = "architecture of the processor; another may round a last bit otherwise"
        found.append((Agent("hardware", architecture, note=note), RAN_ON))
    return tuple(found)


def _people(event: dict[str, Any]) -> tuple[tuple[Agent, str], ...]:
    operator = event.get("operator")
    return ((person(operator), DECIDED),) if operator else ()


def person(role: str) -> Agent:
    """Return a person by role id; names of people do not go into records."""
    return Agent("person", role, note="role id of the institution")


def _by(event: dict[str, Any]) -> tuple[tuple[Agent, str], ...]:
    return _software(event) + _people(event)


def camera(header: dict[str, Any]) -> Agent | None:
    """Return the capture device as the master's EXIF names it."""
    capture = header.get("capture") or {}
    names = [str(capture[name]) for name in ("make", "model") if capture.get(name)]
    if not names:
        return None
    serial = capture.get("serial")
    return Agent("hardware", " ".join(names), note=f"serial number {serial}" if serial else None)


def tell(facts: ItemFacts, now: dict[str, Any]) -> History:
    """Return the history of an item. now: the event of writing this record."""
    history = History()
    masters = facts.of_use("master")
    headers = {f"masters/{entry['path']}": entry for entry in facts.fixity["masters"]}
    for entry in masters:
        _captured(history, facts, entry, headers[entry.path]["header"])
    _taken_in(history, facts, masters, headers)
    _located(history, facts, masters)
    _corrected(history, facts, masters)
    _rendered(history, facts, masters)
    _measured(history, facts)
    _proved(history, facts)
    _embedded(history, facts)
    _recorded(history, facts, now)
    return history


def _captured(history: History, facts: ItemFacts, entry: FileFacts, header: dict[str, Any]) -> None:
    when, device = capture_time.taken(header), camera(header)
    if when is None:
        return
    agents = [(device, "capture device")] if device else []
    operator = facts.operator(entry.original_name or "")
    agents += [(person(operator), DECIDED)] if operator else []
    settings = {
        name: value
        for name, value in (header.get("capture") or {}).items()
        if value is not None and name not in ("make", "model", "serial", "taken", "offset")
    }
    name = object_name(facts.item, entry.path)
    history.tell(
        Event(
            f"{name}#capture",
            "capture",
            when,
            "success",
            detail=_json({"camera": settings}) if settings else None,
            agents=tuple(agents),
            outcomes=(name,),
        )
    )


def _taken_in(
    history: History, facts: ItemFacts, masters: list[FileFacts], headers: dict[str, Any]
) -> None:
    event = facts.fixity["event"]
    owner = facts.institution.get("name")
    who = [*_by(event), *([(Agent("organization", owner), OWNS)] if owner else [])]
    names = tuple(object_name(facts.item, entry.path) for entry in masters)
    history.tell(
        Event(
            f"{facts.item}#ingestion",
            "ingestion",
            event["time"],
            "success",
            detail=_json({"batch": facts.given.get("batch"), "masters": len(masters)}),
            agents=tuple(who),
            outcomes=(object_name(facts.item), *names),
        )
    )
    for entry, name in zip(masters, names, strict=True):
        noted = headers[entry.path]
        algorithms = sorted(noted["digests"])
        history.tell(
            Event(
                f"{name}#digests",
                "message digest calculation",
                event["time"],
                "success",
                detail=_json({"algorithms": algorithms}),
                agents=_by(event),
                outcomes=(name,),
            )
        )
        if noted["expected"]:
            history.tell(
                Event(
                    f"{name}#fixity",
                    "fixity check",
                    event["time"],
                    "pass" if noted["verdict"] == "match" else "fail",
                    detail=_json({"compared": sorted(noted["expected"])}),
                    note="compared with the checksum list of the capture station",
                    agents=_by(event),
                    sources=(name,),
                )
            )
        history.tell(
            Event(
                f"{name}#format",
                "format identification",
                event["time"],
                "success",
                note=" ".join(str(part) for part in entry.format if part),
                agents=_by(event),
                sources=(name,),
            )
        )


def _located(history: History, facts: ItemFacts, masters: list[FileFacts]) -> None:
    event = facts.geometry.get("event") or {}
    if not event.get("time"):
        return
    found = {
        master["path"]: [
            {
                name: frame.get(name)
                for name in ("index", "corners", "confidence", "state", "source", "reasons")
            }
            for frame in master["frames"]
        ]
        for master in facts.geometry["masters"]
    }
    history.tell(
        Event(
            f"{facts.item}#geometry",
            event.get("type") or "image analysis",
            event["time"],
            event.get("outcome") or "success",
            detail=_json({"settings": event.get("detail"), "frames": found}),
            note="corners of each frame in pixels of its master",
            agents=_by(event),
            sources=tuple(object_name(facts.item, entry.path) for entry in masters),
        )
    )


def _corrected(history: History, facts: ItemFacts, masters: list[FileFacts]) -> None:
    """Tell that a person decided, by role id, and what exactly."""
    correction = facts.given.get("corrections")
    decided = [
        (master["path"], frame["index"])
        for master in facts.geometry["masters"]
        for frame in master["frames"]
        if frame.get("source") == "correction"
    ]
    if not correction and not decided:
        return
    given = correction or {}
    when = given.get("when") or (facts.geometry.get("event") or {}).get("time")
    touched = {path for path, _ in decided} or {entry.original_name for entry in masters}
    role = given.get("by")
    history.tell(
        Event(
            f"{facts.item}#correction",
            "correction",
            when or facts.fixity["event"]["time"],
            "success",
            detail=_json({"frames": given.get("frames") or [], "decided": decided}),
            note=given.get("note"),
            agents=((person(role), DECIDED),) if role else (),
            sources=tuple(
                object_name(facts.item, entry.path)
                for entry in masters
                if entry.original_name in touched
            ),
        )
    )


def _rendered(history: History, facts: ItemFacts, masters: list[FileFacts]) -> None:
    event = facts.render["event"]
    by_frame: dict[tuple[str, int], list[str]] = {}
    for entry in facts.embedded["files"]:
        by_frame.setdefault((entry["master"], entry["index"]), []).append(entry["path"])
    for entry in masters:
        name = object_name(facts.item, entry.path)
        frames = [f for f in facts.shown(entry.original_name or "") if not f.get("skipped")]
        if frames:
            history.tell(
                Event(
                    f"{name}#decoding",
                    "validation",
                    event["time"],
                    "success",
                    note="decoded without an error or warning",
                    agents=_by(event),
                    sources=(name,),
                )
            )
        for frame in frames:
            tiles = [f"{frame['tiles']['path']}/info.json"] if frame.get("tiles") else []
            made = [*by_frame.get((frame["master"], frame["index"]), []), *tiles]
            if mix.captured(facts):
                crops = {path for path in made if facts.files[path].kind == "crop"}
                _cropped(history, facts, name, frame, sorted(crops))
                made = [path for path in made if path not in crops]
            _made(history, facts, name, frame, made)


def _cropped(
    history: History, facts: ItemFacts, master: str, frame: dict[str, Any], made: list[str]
) -> None:
    """Tell how a frame's crop came about, whose samples are the master's own."""
    event, index = facts.render["event"], frame["index"]
    if made:
        history.tell(
            Event(
                f"{master}#frame-{index}-crop",
                "image modification",
                event["time"],
                event["outcome"],
                detail=_json({"frame": index, "settings": event.get("detail")}),
                note="cropped and straightened in one resampling; tone and profile as captured",
                agents=_by(event),
                sources=(master,),
                outcomes=tuple(object_name(facts.item, path) for path in made),
            )
        )


def _made(
    history: History, facts: ItemFacts, master: str, frame: dict[str, Any], made: list[str]
) -> None:
    """Tell how a frame became pictures: what was done to the image, and the files written."""
    event, index = facts.render["event"], frame["index"]
    outcomes = tuple(object_name(facts.item, path) for path in made)
    history.tell(
        Event(
            f"{master}#frame-{index}-image",
            "image modification",
            event["time"],
            event["outcome"],
            detail=_json({"frame": index, "tone": frame.get("tone")}),
            note="cropped and straightened in one resampling, then the tone set",
            agents=_by(event),
            sources=(master,),
            outcomes=outcomes,
        )
    )
    history.tell(
        Event(
            f"{master}#frame-{index}-files",
            event["type"],
            event["time"],
            event["outcome"],
            detail=_json({"frame": index, "settings": event.get("detail")}),
            note="reduced and encoded",
            agents=_by(event),
            sources=(master,),
            outcomes=outcomes,
        )
    )


def _measured(history: History, facts: ItemFacts) -> None:
    event = facts.quality.get("event") or {}
    verdicts = [frame["verdict"] for frame in facts.quality["frames"]]
    if not verdicts or not event.get("time"):
        return
    worst = next(word for word in ("fail", "review", "pass") if word in verdicts)
    limits = [
        {
            "master": frame["master"],
            "frame": frame["index"],
            "verdict": frame["verdict"],
            "measures": {
                measure["name"]: [measure["value"], measure["unit"], measure["verdict"]]
                for measure in frame["measures"]
            },
        }
        for frame in facts.quality["frames"]
    ]
    history.tell(
        Event(
            f"{facts.item}#quality",
            "quality review",
            event["time"],
            worst,
            detail=_json(limits),
            note="measured by program against the limits of the settings",
            agents=_software(event),
            sources=tuple(
                object_name(facts.item, f"masters/{path}")
                for path in sorted({frame["master"] for frame in facts.quality["frames"]})
            ),
        )
    )


def _proved(history: History, facts: ItemFacts) -> None:
    """Tell of the target captures that show how good the rig was on the day."""
    for target in facts.targets["targets"] if facts.targets else []:
        event = target["event"]
        history.tell(
            Event(
                f"{facts.item}#target-{target['target']}",
                event["type"],
                event["time"],
                event["outcome"],
                detail=_json(event["detail"]),
                note="capture target of the batch measured against published tables",
                agents=tuple(_software(event)),
                sources=tuple(
                    object_name(facts.item, f"masters/{master['path']}")
                    for master in facts.fixity["masters"]
                ),
            )
        )


def _embedded(history: History, facts: ItemFacts) -> None:
    event = facts.embedded["event"]
    made = [entry["path"] for entry in facts.embedded["files"]]
    if not made:
        return
    detail = {
        name: value
        for name, value in (event.get("detail") or {}).items()
        if name not in ("catalogue", "institution")  # both stand in this record already
    }
    described = [
        entry["path"]
        for entry in facts.embedded["files"]
        if entry["use"] not in alternates.WITHOUT_TEXTS
    ]
    history.tell(
        Event(
            f"{facts.item}#embedding",
            event["type"],
            event["time"],
            event["outcome"],
            detail=_json(detail),
            note="metadata spliced in beside the encoded picture, whose bytes stay as they were",
            agents=_by(event),
            outcomes=tuple(object_name(facts.item, path) for path in described),
        )
    )
    history.tell(
        Event(
            f"{facts.item}#derivative-digests",
            "message digest calculation",
            event["time"],
            "success",
            detail=_json({"algorithms": ["sha256", "sha512"]}),
            note="of each derivative as it stands in the package",
            agents=_software(event),
            sources=tuple(object_name(facts.item, path) for path in made),
        )
    )


def _recorded(history: History, facts: ItemFacts, now: dict[str, Any]) -> None:
    history.tell(
        Event(
            f"{facts.item}#record",
            now["type"],
            now["time"],
            now["outcome"],
            detail=_json(now["detail"]),
            agents=_by(now),
            outcomes=(object_name(facts.item),),
        )
    )


def now(detail: dict[str, Any]) -> dict[str, Any]:
    """Return the event of writing the record."""
    return premis_event.event("metadata creation", detail, packages=("lxml",))
