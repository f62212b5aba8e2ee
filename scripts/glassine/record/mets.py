"""METS 1.12.1 of an item: what it shows, its files, what was done to them, how they belong."""

from __future__ import annotations

from urllib.parse import quote

from glassine import __version__
from glassine.base.markup import Element, add, element, xml_id
from glassine.base.records.parts import Event
from glassine.base.records.render import RenderedFrame
from glassine.base.vocabulary import DIGEST_NAMES
from glassine.record import dublin_core, mix, mods, premis
from glassine.record.facts import FileFacts, ItemFacts

# CSIP 2.2.0, vocabulary of content categories; the dash is an en dash.
CONTENT_TYPE = "Photographs – Digital"
PROFILE = "urn:glassine:profile:item:1"
# Groups of files, in the order in which a reader wants them.
USES = ("master", "access", "thumbnail", "alternate", "tiles", "presentation", "provenance")


def build(facts: ItemFacts, history: premis.History, now: Event) -> Element:
    """Return mets:mets of the item.

    history: what happened to it; now: the event of writing the record.
    """
    root = element(
        "mets:mets",
        OBJID=facts.item,
        LABEL=facts.row.title or facts.item,
        TYPE=CONTENT_TYPE,
        PROFILE=PROFILE,
    )
    _header(root, facts, now)
    _descriptive(root, facts, now)
    _administrative(root, facts, history)
    _files(root, facts, history)
    _physical(root, facts)
    _logical(root, facts)
    return root


def _header(root: Element, facts: ItemFacts, now: Event) -> None:
    header = add(root, "mets:metsHdr", CREATEDATE=now.time, RECORDSTATUS="complete")
    keeper = facts.institution
    if keeper.name:
        agent = add(header, "mets:agent", ROLE="CREATOR", TYPE="ORGANIZATION")
        add(agent, "mets:name", keeper.name)
        if keeper.id:
            add(agent, "mets:note", keeper.id)
    agent = add(header, "mets:agent", ROLE="CREATOR", TYPE="OTHER", OTHERTYPE="SOFTWARE")
    add(agent, "mets:name", "Glassine")
    add(agent, "mets:note", __version__)


def _wrap(section: Element, kind: str, version: str | None, children: list[Element]) -> None:
    wrapper = add(section, "mets:mdWrap", MDTYPE=kind, MDTYPEVERSION=version)
    data = add(wrapper, "mets:xmlData")
    for child in children:
        data.append(child)


def _descriptive(root: Element, facts: ItemFacts, now: Event) -> None:
    described = (facts.row, facts.rights, facts.item, facts.institution.name)
    section = add(root, "mets:dmdSec", ID="dmd-mods", CREATED=now.time)
    _wrap(section, "MODS", mods.VERSION, [mods.build(*described)])
    section = add(root, "mets:dmdSec", ID="dmd-dc", CREATED=now.time)
    _wrap(section, "DC", None, dublin_core.build(*described))


def _administrative(root: Element, facts: ItemFacts, history: premis.History) -> None:
    amd = add(root, "mets:amdSec", ID="amd")
    section = add(amd, "mets:techMD", ID="tech-item")
    _wrap(section, "PREMIS:OBJECT", premis.VERSION, [premis.representation(facts, history)])
    for entry in facts.files.values():
        section = add(amd, "mets:techMD", ID=_object_id(entry))
        _wrap(section, "PREMIS:OBJECT", premis.VERSION, [premis.file_object(facts, entry, history)])
    for entry, image in _images(facts):
        section = add(amd, "mets:techMD", ID=_mix_id(entry))
        _wrap(section, "NISOIMG", mix.VERSION, [image])
    section = add(amd, "mets:rightsMD", ID="rights")
    _wrap(section, "PREMIS:RIGHTS", premis.VERSION, [premis.rights(facts)])
    for event in history.events:
        section = add(amd, "mets:digiprovMD", ID=xml_id("event", event.id))
        _wrap(section, "PREMIS:EVENT", premis.VERSION, [event.build()])
    for agent in history.agents.values():
        section = add(amd, "mets:digiprovMD", ID=xml_id("agent", agent.id))
        _wrap(section, "PREMIS:AGENT", premis.VERSION, [agent.build()])


def _images(facts: ItemFacts) -> list[tuple[FileFacts, Element]]:
    """Return each image file with its MIX."""
    noted = {f"masters/{entry.path}": entry for entry in facts.fixity.masters}
    frames = {(frame.master, frame.index): frame for frame in facts.render.frames}
    images = [
        (entry, mix.master(facts, entry, noted[entry.path])) for entry in facts.of_use("master")
    ]
    for file in facts.embedded.files:
        frame = frames[file.master, file.index]
        entry = facts.files[file.path]
        how = mix.coded(facts, entry, frame, _bands(frame))
        size = (file.width, file.height)
        images.append((entry, mix.derivative(facts, entry, frame, size, how)))
    return images


def _bands(frame: RenderedFrame) -> int:
    """Return the number of bands of a frame as rendered."""
    return frame.tone.bands if frame.tone else 3


def _object_id(entry: FileFacts) -> str:
    return xml_id("object", entry.path)


def _mix_id(entry: FileFacts) -> str:
    return xml_id("mix", entry.path)


def _files(root: Element, facts: ItemFacts, history: premis.History) -> None:
    section = add(root, "mets:fileSec")
    with_mix = {"master", "access", "thumbnail", "alternate"}
    for use in USES:
        entries = facts.of_use(use)
        if not entries:
            continue
        group = add(section, "mets:fileGrp", ID=f"group-{use}", USE=use)
        for entry in entries:
            ids = [_object_id(entry), *([_mix_id(entry)] if use in with_mix else [])]
            file = add(
                group,
                "mets:file",
                ID=entry.id,
                MIMETYPE=entry.mime,
                SIZE=entry.bytes,
                CREATED=entry.created,
                CHECKSUM=entry.digests["sha256"],
                CHECKSUMTYPE=DIGEST_NAMES["sha256"],
                ADMID=" ".join([*ids, "rights", *_event_ids(history, facts, entry)]),
                GROUPID=xml_id("from", entry.derived_from or entry.path),
                USE=entry.kind,
            )
            add(
                file,
                "mets:FLocat",
                LOCTYPE="URL",
                xlink__type="simple",
                xlink__href=href(entry.path),
            )


def _event_ids(history: premis.History, facts: ItemFacts, entry: FileFacts) -> list[str]:
    name = premis.object_name(facts.item, entry.path)
    return [xml_id("event", event.id) for event in history.about(name)]


def href(path: str) -> str:
    """Return a path as a relative URI reference (RFC 3986)."""
    return quote(path, safe="/:@!$&'()*+,;=~")


def _physical(root: Element, facts: ItemFacts) -> None:
    """Add the structure item, master, frame; a frame's place on its master as a polygon."""
    structure = add(root, "mets:structMap", ID="structure-physical", TYPE="PHYSICAL")
    item = add(
        structure,
        "mets:div",
        ID="div-item",
        TYPE="item",
        LABEL=facts.row.title or facts.item,
        DMDID="dmd-mods dmd-dc",
        ADMID="tech-item rights",
    )
    for use in ("presentation", "provenance"):
        for entry in facts.of_use(use):
            add(item, "mets:fptr", FILEID=entry.id)
    for order, entry in enumerate(facts.of_use("master"), start=1):
        path = entry.original_name or ""
        master = add(
            item,
            "mets:div",
            ID=xml_id("div", entry.path),
            TYPE="master",
            ORDER=order,
            LABEL=path,
        )
        add(master, "mets:fptr", FILEID=entry.id)
        for frame in facts.shown(path):
            _frame(master, facts, entry, frame)


def frame_id(master: str, index: int) -> str:
    return xml_id("div", f"masters/{master}#{index}")


def _frame(master: Element, facts: ItemFacts, entry: FileFacts, frame: RenderedFrame) -> None:
    label = frame.label or f"frame {frame.index}"
    if frame.skipped:
        label += f" ({frame.skipped})"
    div = add(
        master,
        "mets:div",
        ID=frame_id(frame.master, frame.index),
        TYPE="frame",
        ORDER=frame.index,
        LABEL=label,
    )
    located = facts.located_frame(frame)
    if located:
        coordinates = ",".join(str(round(value)) for corner in located.corners for value in corner)
        pointer = add(div, "mets:fptr")
        add(pointer, "mets:area", FILEID=entry.id, SHAPE="POLY", COORDS=coordinates)
    for path in _paths_of(facts, frame):
        add(div, "mets:fptr", FILEID=facts.files[path].id)


def _paths_of(facts: ItemFacts, frame: RenderedFrame) -> list[str]:
    paths = [
        file.path
        for file in facts.embedded.files
        if (file.master, file.index) == (frame.master, frame.index)
    ]
    return [*paths, *([f"{frame.tiles.path}/info.json"] if frame.tiles else [])]


def _logical(root: Element, facts: ItemFacts) -> None:
    """Add the catalogue's own divisions; frames are counted through the whole item."""
    divisions = facts.row.structure
    if not divisions:
        return
    frames = [
        frame
        for entry in facts.of_use("master")
        for frame in facts.shown(entry.original_name or "")
    ]
    structure = add(root, "mets:structMap", ID="structure-logical", TYPE="LOGICAL")
    item = add(
        structure,
        "mets:div",
        ID="logical-item",
        TYPE="item",
        LABEL=facts.row.title or facts.item,
        DMDID="dmd-mods dmd-dc",
    )
    for order, division in enumerate(divisions, start=1):
        holder = add(
            item,
            "mets:div",
            ID=f"logical-{order}",
            TYPE=division.type or "section",
            ORDER=order,
            LABEL=division.label,
        )
        for number in division.frames:
            if number <= len(frames):
                for path in _paths_of(facts, frames[number - 1]):
                    add(holder, "mets:fptr", FILEID=facts.files[path].id)
