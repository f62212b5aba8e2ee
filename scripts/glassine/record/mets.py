"""METS 1.12.1 of an item: what it shows, its files, what was done to them, how they belong."""

from __future__ import annotations

from urllib.parse import quote

from msgspec import UNSET

from glassine import __version__
from glassine.base.markup import Element, add, element, xml_id
from glassine.base.records.parts import Event
from glassine.base.records.render import RenderedFrame
from glassine.base.vocabulary import DIGEST_NAMES
from glassine.record import dublin_core, mix, mods, parsed, premis
from glassine.record.item_records import FileEntry, ItemRecords

# CSIP 2.2.0, vocabulary of content categories; the dash is an en dash.
CONTENT_TYPE = "Photographs – Digital"
PROFILE = "urn:glassine:profile:item:1"
# Groups of files, in the order in which a reader wants them.
USES = ("master", "raw", "access", "thumbnail", "alternate", "tiles", "presentation", "provenance")
_WITH_MIX = ("master", "raw", "access", "thumbnail", "alternate")


def build(records: ItemRecords, history: premis.History, now: Event) -> Element:
    """Return mets:mets of the item.

    history: what happened to it; now: the event of writing the record.
    """
    root = element(
        "mets:mets",
        OBJID=records.objid,
        LABEL=records.row.title or records.item,
        TYPE=CONTENT_TYPE,
        PROFILE=PROFILE,
    )
    _header(root, records, now)
    _descriptive(root, records, now)
    _administrative(root, records, history)
    _files(root, records, history)
    _physical(root, records, history)
    _logical(root, records)
    return root


def _header(root: Element, records: ItemRecords, now: Event) -> None:
    header = add(root, "mets:metsHdr", CREATEDATE=now.time, RECORDSTATUS="complete")
    keeper = records.institution
    if keeper.name:
        agent = add(header, "mets:agent", ROLE="CREATOR", TYPE="ORGANIZATION")
        add(agent, "mets:name", keeper.name)
        if keeper.id:
            add(agent, "mets:note", keeper.id)
    agent = add(header, "mets:agent", ROLE="CREATOR", TYPE="OTHER", OTHERTYPE="SOFTWARE")
    add(agent, "mets:name", "Glassine")
    add(agent, "mets:note", __version__)
    if records.objid != records.item:
        add(header, "mets:altRecordID", records.item, TYPE=parsed.ITEM)


def _wrap(section: Element, kind: str, version: str | None, children: list[Element]) -> None:
    wrapper = add(section, "mets:mdWrap", MDTYPE=kind, MDTYPEVERSION=version)
    data = add(wrapper, "mets:xmlData")
    for child in children:
        data.append(child)


def _descriptive(root: Element, records: ItemRecords, now: Event) -> None:
    described = (records.row, records.rights, records.item, records.institution.name)
    section = add(root, "mets:dmdSec", ID="dmd-mods", CREATED=now.time)
    on_roll = (records.given.roll, records.given.place)
    names = records.given.settings.records
    seen = mods.seen_of(records.geometry.masters, names.film_names, names.notch_names)
    built = mods.build(*described, *on_roll, records.access, seen)
    _wrap(section, "MODS", mods.VERSION, [built])
    section = add(root, "mets:dmdSec", ID="dmd-dc", CREATED=now.time)
    _wrap(section, "DC", None, dublin_core.build(*described, records.access))


def _administrative(root: Element, records: ItemRecords, history: premis.History) -> None:
    amd = add(root, "mets:amdSec", ID="amd")
    section = add(amd, "mets:techMD", ID="tech-item")
    _wrap(section, "PREMIS:OBJECT", premis.VERSION, [premis.representation(records, history)])
    for entry in records.recorded.values():
        section = add(amd, "mets:techMD", ID=_object_id(entry))
        _wrap(
            section, "PREMIS:OBJECT", premis.VERSION, [premis.file_object(records, entry, history)]
        )
    for entry, image in _images(records):
        section = add(amd, "mets:techMD", ID=_mix_id(entry))
        _wrap(section, "NISOIMG", mix.VERSION, [image])
    section = add(amd, "mets:rightsMD", ID="rights")
    _wrap(section, "PREMIS:RIGHTS", premis.VERSION, [premis.rights(records)])
    for event in history.events:
        section = add(amd, "mets:digiprovMD", ID=xml_id("event", event.id))
        _wrap(section, "PREMIS:EVENT", premis.VERSION, [event.build()])
    for agent in history.agents.values():
        section = add(amd, "mets:digiprovMD", ID=xml_id("agent", agent.id))
        _wrap(section, "PREMIS:AGENT", premis.VERSION, [agent.build()])


def _images(records: ItemRecords) -> list[tuple[FileEntry, Element]]:
    """Return each image file with its MIX."""
    verified = {f"masters/{entry.path}": entry for entry in records.fixity.masters}
    frames = {(frame.master, frame.index): frame for frame in records.render.frames}
    images = [
        (entry, mix.master(records, entry, verified[entry.path]))
        for entry in records.of_use("master")
    ]
    sources = [entry.source for entry in records.fixity.masters if entry.source is not UNSET]
    images += [(records.recorded[f"raw/{raw.path}"], mix.raw(records, raw)) for raw in sources]
    for file in records.embedded.files:
        frame = frames[file.master, file.index]
        entry = records.files[file.path]
        how = mix.coded(records, entry, frame, _bands(frame))
        size = (file.width, file.height)
        images.append((entry, mix.derivative(records, entry, frame, size, how)))
    return images


def _bands(frame: RenderedFrame) -> int:
    """Return the number of bands of a frame as rendered."""
    return frame.tone.bands if frame.tone else 3


def _object_id(entry: FileEntry) -> str:
    return xml_id("object", entry.path)


def _mix_id(entry: FileEntry) -> str:
    return xml_id("mix", entry.path)


def _files(root: Element, records: ItemRecords, history: premis.History) -> None:
    section = add(root, "mets:fileSec")
    for use in USES:
        for name, entries in _by_set(records, use).items():
            words = {"ID": f"group-{use}", "USE": use}
            if name:
                words = {"ID": f"group-{use}-{name}", "USE": f"{use}: {name}"}
            group = add(section, "mets:fileGrp", **words)
            _group(group, use, entries, records, history)


def _by_set(records: ItemRecords, use: str) -> dict[str, list[FileEntry]]:
    """Return the files of a use by the further set of pictures that they are of, "" for none."""
    groups: dict[str, list[FileEntry]] = {}
    for entry in records.of_use(use):
        if not entry.level:
            of_set = entry.made.set if entry.made else UNSET
            groups.setdefault(of_set if of_set is not UNSET else "", []).append(entry)
    return groups


def _group(
    group: Element,
    use: str,
    entries: list[FileEntry],
    records: ItemRecords,
    history: premis.History,
) -> None:
    for entry in entries:
        ids = [_object_id(entry), *([_mix_id(entry)] if use in _WITH_MIX else [])]
        file = add(
            group,
            "mets:file",
            ID=entry.id,
            MIMETYPE=entry.mime,
            SIZE=entry.bytes,
            CREATED=entry.created,
            CHECKSUM=entry.digests["sha256"],
            CHECKSUMTYPE=DIGEST_NAMES["sha256"],
            ADMID=" ".join([*ids, "rights", *_event_ids(history, records, entry)]),
            GROUPID=xml_id("from", entry.derived_from or entry.path),
            USE=entry.kind,
        )
        kept = records.access.deliver == "records" and use in ("master", "raw")
        add(
            file,
            "mets:FLocat",
            LOCTYPE="OTHER" if kept else "URL",
            OTHERLOCTYPE=parsed.KEPT_BACK if kept else None,
            xlink__type="simple",
            xlink__href=href(entry.path),
        )


def _event_ids(history: premis.History, records: ItemRecords, entry: FileEntry) -> list[str]:
    name = premis.object_name(records.item, entry.path)
    return [xml_id("event", event.id) for event in history.about(name)]


def href(path: str) -> str:
    """Return a path as a relative URI reference (RFC 3986)."""
    return quote(path, safe="/:@!$&'()*+,;=~")


def _physical(root: Element, records: ItemRecords, history: premis.History) -> None:
    """Add the structure roll (of a frame of one), item, master, frame; a frame's place on its
    master as a polygon."""
    structure = add(root, "mets:structMap", ID="structure-physical", TYPE="PHYSICAL")
    item = add(
        _whole(structure, records),
        "mets:div",
        ID="div-item",
        TYPE="item",
        ORDERLABEL=records.given.place,
        LABEL=records.row.title or records.item,
        DMDID="dmd-mods dmd-dc",
        ADMID="tech-item rights",
    )
    for use in ("presentation", "provenance"):
        for entry in records.of_use(use):
            add(item, "mets:fptr", FILEID=entry.id)
    sequences = {master.path: master.sequence for master in records.given.masters}
    for order, entry in enumerate(records.of_use("master"), start=1):
        path = entry.original_name or ""
        master = add(
            item,
            "mets:div",
            ID=xml_id("div", entry.path),
            TYPE="master",
            ORDER=order,
            ORDERLABEL=sequences.get(path),
            LABEL=path,
            ADMID=_of_those_beside(records, entry, history),
        )
        of_master = _in_package(records, entry)
        for each in of_master:
            add(master, "mets:fptr", FILEID=each.id)
        for frame in records.frames_of(path):
            _frame(master, records, of_master[0], frame)


def _in_package(records: ItemRecords, master: FileEntry) -> list[FileEntry]:
    """Return the master, and the raw file that it was made from, as far as they are in the package.
    Both have the same pixels: those of the sensor's active area."""
    paths = (master.path, master.derived_from or "")
    return [records.files[path] for path in paths if path in records.files]


def _of_those_beside(
    records: ItemRecords, master: FileEntry, history: premis.History
) -> str | None:
    """Return the ids of what is said of a master or its raw file that is not in the package."""
    ids: list[str] = []
    for path in (master.path, master.derived_from or ""):
        if path in records.beside:
            entry = records.beside[path]
            ids += [_object_id(entry), _mix_id(entry), *_event_ids(history, records, entry)]
    return " ".join(ids) or None


def _whole(structure: Element, records: ItemRecords) -> Element:
    """Return where the item stands in the structure: on its roll, where it is a frame of one."""
    roll = records.given.roll
    if roll is None:
        return structure
    return add(structure, "mets:div", ID="div-roll", TYPE="roll", LABEL=roll)


def frame_id(master: str, index: int) -> str:
    return xml_id("div", f"masters/{master}#{index}")


def _frame(master: Element, records: ItemRecords, entry: FileEntry, frame: RenderedFrame) -> None:
    label = frame.label or f"frame {frame.index}"
    if frame.skipped:
        label += f" ({frame.skipped})"
    div = add(
        master,
        "mets:div",
        ID=frame_id(frame.master, frame.index),
        TYPE="frame",
        ORDER=frame.index,
        ORDERLABEL=frame.film_frame or None,
        LABEL=label,
    )
    located = records.located_frame(frame)
    if located:
        coordinates = ",".join(str(round(value)) for corner in located.corners for value in corner)
        pointer = add(div, "mets:fptr")
        add(pointer, "mets:area", FILEID=entry.id, SHAPE="POLY", COORDS=coordinates)
    for path in _paths_of(records, frame):
        add(div, "mets:fptr", FILEID=records.files[path].id)


def _paths_of(records: ItemRecords, frame: RenderedFrame) -> list[str]:
    paths = [
        file.path
        for file in records.embedded.files
        if (file.master, file.index) == (frame.master, frame.index)
    ]
    return [*paths, *([f"{frame.tiles.path}/info.json"] if frame.tiles else [])]


def _logical(root: Element, records: ItemRecords) -> None:
    """Add the catalogue's own divisions; frames are counted through the whole item."""
    divisions = records.row.structure
    if not divisions:
        return
    frames = [
        frame
        for entry in records.of_use("master")
        for frame in records.frames_of(entry.original_name or "")
    ]
    structure = add(root, "mets:structMap", ID="structure-logical", TYPE="LOGICAL")
    item = add(
        structure,
        "mets:div",
        ID="logical-item",
        TYPE="item",
        LABEL=records.row.title or records.item,
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
                for path in _paths_of(records, frames[number - 1]):
                    add(holder, "mets:fptr", FILEID=records.files[path].id)
