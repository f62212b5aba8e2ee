"""PREMIS 3.0: the objects, events, agents and rights of an item.

Section numbers are those of the PREMIS Data Dictionary 3.0 (2015).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from glassine.base import raw_keep, vocabulary
from glassine.base.access import NAMES, Access
from glassine.base.markup import Element, add, add_known, element
from glassine.base.records.catalogue import Level
from glassine.base.records.render import Tiles
from glassine.base.rights import COPYRIGHTED
from glassine.record.item_records import FileEntry, ItemRecords

VERSION = "3.0"
LOCAL = "local"


def object_name(item: str, path: str = "") -> str:
    """Return the identifier of a file of the item's package, or of the item itself."""
    return f"{item}/{path}" if path else item


@dataclass(frozen=True)
class Agent:
    """Who or what did something. kind: software, person, organization or hardware."""

    kind: str
    name: str
    version: str | None = None
    note: str | None = None

    @property
    def id(self) -> str:
        return "/".join(part for part in (self.kind, self.name, self.version) if part)

    def build(self) -> Element:
        root = element("premis:agent", version=VERSION)
        holder = add(root, "premis:agentIdentifier")
        add(holder, "premis:agentIdentifierType", LOCAL)
        add(holder, "premis:agentIdentifierValue", self.id)
        add(root, "premis:agentName", self.name)
        add(root, "premis:agentType", self.kind)
        add_known(root, "premis:agentVersion", self.version)
        add_known(root, "premis:agentNote", self.note)
        return root


@dataclass(frozen=True)
class Event:
    """What happened, when, by whom, to what. detail: text, JSON where it repeats the step."""

    id: str
    kind: str
    time: str
    outcome: str
    detail: str | None = None
    note: str | None = None
    agents: tuple[tuple[Agent, str], ...] = ()
    sources: tuple[str, ...] = ()
    outcomes: tuple[str, ...] = ()

    def build(self) -> Element:
        root = element("premis:event", version=VERSION)
        holder = add(root, "premis:eventIdentifier")
        add(holder, "premis:eventIdentifierType", LOCAL)
        add(holder, "premis:eventIdentifierValue", self.id)
        vocabulary.event_type(root, self.kind)
        add(root, "premis:eventDateTime", self.time)
        if self.detail:
            information = add(root, "premis:eventDetailInformation")
            add(information, "premis:eventDetail", self.detail)
        outcome = add(root, "premis:eventOutcomeInformation")
        add(outcome, "premis:eventOutcome", self.outcome)
        if self.note:
            detail = add(outcome, "premis:eventOutcomeDetail")
            add(detail, "premis:eventOutcomeDetailNote", self.note)
        for agent, role in self.agents:
            link = add(root, "premis:linkingAgentIdentifier")
            add(link, "premis:linkingAgentIdentifierType", LOCAL)
            add(link, "premis:linkingAgentIdentifierValue", agent.id)
            add(link, "premis:linkingAgentRole", role)
        for names, role in ((self.sources, "source"), (self.outcomes, "outcome")):
            for name in names:
                link = add(root, "premis:linkingObjectIdentifier")
                add(link, "premis:linkingObjectIdentifierType", LOCAL)
                add(link, "premis:linkingObjectIdentifierValue", name)
                add(link, "premis:linkingObjectRole", role)
        return root


@dataclass
class History:
    """The events of an item in their order, and every agent that took part, once."""

    events: list[Event] = field(default_factory=list)
    agents: dict[str, Agent] = field(default_factory=dict)
    by_object: dict[str, list[Event]] = field(default_factory=dict)

    def tell(self, event: Event) -> None:
        self.events.append(event)
        for name in dict.fromkeys((*event.sources, *event.outcomes)):
            self.by_object.setdefault(name, []).append(event)
        for agent, _ in event.agents:
            self.agents.setdefault(agent.id, agent)

    def about(self, name: str) -> list[Event]:
        """Return the events that concern an object."""
        return self.by_object.get(name, [])


def _identifier(root: Element, name: str) -> None:
    holder = add(root, "premis:objectIdentifier")
    add(holder, "premis:objectIdentifierType", LOCAL)
    add(holder, "premis:objectIdentifierValue", name)


def _relationship(root: Element, kind: str, sub_kind: str, names: list[str]) -> None:
    if not names:
        return
    holder = add(root, "premis:relationship")
    add(holder, "premis:relationshipType", kind)
    add(holder, "premis:relationshipSubType", sub_kind)
    for name in names:
        related = add(holder, "premis:relatedObjectIdentifier")
        add(related, "premis:relatedObjectIdentifierType", LOCAL)
        add(related, "premis:relatedObjectIdentifierValue", name)


def _events_of(root: Element, name: str, history: History) -> None:
    for event in history.about(name):
        link = add(root, "premis:linkingEventIdentifier")
        add(link, "premis:linkingEventIdentifierType", LOCAL)
        add(link, "premis:linkingEventIdentifierValue", event.id)


def _rights_link(root: Element, records: ItemRecords) -> None:
    names = [rights_name(records.item)]
    names += [licence_name(records.item)] if records.rights.grants else []
    names += [access_name(records.item)] if records.access.is_restricted else []
    for name in names:
        link = add(root, "premis:linkingRightsStatementIdentifier")
        add(link, "premis:linkingRightsStatementIdentifierType", LOCAL)
        add(link, "premis:linkingRightsStatementIdentifierValue", name)


def rights_name(item: str) -> str:
    return f"{item}/rights"


def licence_name(item: str) -> str:
    return f"{item}/licence"


def access_name(item: str) -> str:
    return f"{item}/access"


def representation(records: ItemRecords, history: History) -> Element:
    """Return the item as a whole, with all its files as parts (1.1 to 1.13)."""
    root = element("premis:object", xsi__type="premis:representation", version=VERSION)
    _identifier(root, object_name(records.item))
    names = [object_name(records.item, path) for path in records.files]
    _relationship(root, vocabulary.STRUCTURAL, "includes", names)
    _events_of(root, object_name(records.item), history)
    _rights_link(root, records)
    return root


def file_object(records: ItemRecords, entry: FileEntry, history: History) -> Element:
    """Return one file: fixity, size and format (1.5), and the master it was made from."""
    name = object_name(records.item, entry.path)
    root = element("premis:object", xsi__type="premis:file", version=VERSION)
    _identifier(root, name)
    if entry.level:
        _beside(root, entry.level)
    if entry.tree:
        _tree(root, entry.tree)
    characteristics = add(root, "premis:objectCharacteristics")
    add(characteristics, "premis:compositionLevel", 0)
    for algorithm, digest in sorted(entry.digests.items()):
        fixity = add(characteristics, "premis:fixity")
        add(fixity, "premis:messageDigestAlgorithm", vocabulary.DIGEST_NAMES[algorithm])
        add(fixity, "premis:messageDigest", digest)
    add(characteristics, "premis:size", entry.bytes)
    kind = add(characteristics, "premis:format")
    designation = add(kind, "premis:formatDesignation")
    add(designation, "premis:formatName", entry.format[0])
    add_known(designation, "premis:formatVersion", entry.format[1])
    vocabulary.format_registry(kind, entry.format[2])
    add_known(root, "premis:originalName", entry.original_name)
    if entry.derived_from:
        source = object_name(records.item, entry.derived_from)
        _relationship(root, vocabulary.DERIVATION, "has source", [source])
    if entry.level:
        made = [each for each in records.recorded.values() if each.derived_from == entry.path]
        names = [object_name(records.item, each.path) for each in made]
        _relationship(root, vocabulary.DERIVATION, "is source of", names)
    else:
        whole = object_name(records.item)
        _relationship(root, vocabulary.STRUCTURAL, "is included in", [whole])
    _events_of(root, name, history)
    return root


def _beside(root: Element, level: str) -> None:
    """Add that a file is not in the package, and why (1.3)."""
    holder = add(root, "premis:preservationLevel")
    add(holder, "premis:preservationLevelType", "what the package holds of a file")
    add(holder, "premis:preservationLevelValue", level)
    add(holder, "premis:preservationLevelRationale", raw_keep.why(level))


def _tree(root: Element, tiles: Tiles) -> None:
    """Add the digest over all tiles: they are too many to be listed one by one."""
    for kind, value in (
        ("SHA-256 over the sorted lines of path and SHA-256 of every tile file", tiles.sha256),
        ("number of tile files", tiles.count),
        ("bytes of all tile files", tiles.bytes),
    ):
        holder = add(root, "premis:significantProperties")
        add(holder, "premis:significantPropertiesType", kind)
        add(holder, "premis:significantPropertiesValue", value)


def rights(records: ItemRecords) -> Element:
    """Return the copyright statement (4.1), with the statement's URI as documentation."""
    item_rights = records.rights
    root = element("premis:rights", version=VERSION)
    statement = add(root, "premis:rightsStatement")
    holder = add(statement, "premis:rightsStatementIdentifier")
    add(holder, "premis:rightsStatementIdentifierType", LOCAL)
    add(holder, "premis:rightsStatementIdentifierValue", rights_name(records.item))
    add(statement, "premis:rightsBasis", "copyright")
    copyright_ = add(statement, "premis:copyrightInformation")
    add(copyright_, "premis:copyrightStatus", item_rights.status)
    add(copyright_, "premis:copyrightJurisdiction", item_rights.country or "unknown")
    # The statement's own name: "public domain" alone says nothing of a contract or another law.
    add_known(copyright_, "premis:copyrightNote", item_rights.name)
    if item_rights.holder:
        held = item_rights.status == COPYRIGHTED
        named = "Copyright holder" if held else "Rights holder that the catalogue names"
        add(copyright_, "premis:copyrightNote", f"{named}: {item_rights.holder}")
    add_known(copyright_, "premis:copyrightNote", item_rights.note)
    if item_rights.uri:
        document = add(copyright_, "premis:copyrightDocumentationIdentifier")
        add(document, "premis:copyrightDocumentationIdentifierType", "URI")
        add(document, "premis:copyrightDocumentationIdentifierValue", item_rights.uri)
        add(document, "premis:copyrightDocumentationRole", "rights statement")
    _of_item(statement, records.item)
    if item_rights.grants:
        _licence(root, records.item, item_rights.uri)
    if records.access.is_restricted:
        _restriction(root, records.item, records.access)
    return root


def _restriction(root: Element, item: str, access: Access) -> None:
    """Add who may see the item (4.1.6 rightsGranted: act, restriction, terms)."""
    statement = add(root, "premis:rightsStatement")
    holder = add(statement, "premis:rightsStatementIdentifier")
    add(holder, "premis:rightsStatementIdentifierType", LOCAL)
    add(holder, "premis:rightsStatementIdentifierValue", access_name(item))
    add(statement, "premis:rightsBasis", "other")
    other = add(statement, "premis:otherRightsInformation")
    basis = "withdrawal" if access.is_withdrawn else "access as the catalogue states it"
    add(other, "premis:otherRightsBasis", basis)
    for note in (access.words, access.doubt):
        add_known(other, "premis:otherRightsNote", note)
    words = " ".join(filter(None, (access.pictures_in_words(), access.delivered_in_words())))
    _granted(statement, access.level, words, until=access.until)
    if access.until:
        _granted(statement, access.after, "", start=access.opens)
    _of_item(statement, item)


def _granted(statement: Element, level: Level, note: str, until: str = "", start: str = "") -> None:
    """Add rightsGranted: dissemination at a level. until: last day of its restriction; start:
    first day of the grant (ISO 8601)."""
    granted = add(statement, "premis:rightsGranted")
    vocabulary.action(granted, "disseminate")
    if level != "open":
        add(granted, "premis:restriction", NAMES[level])
    if start:
        add(add(granted, "premis:termOfGrant"), "premis:startDate", start)
    if until:
        term = add(granted, "premis:termOfRestriction")
        add(term, "premis:startDate", "..")  # EDTF: open, since nothing says when it began
        add(term, "premis:endDate", until)
    add_known(granted, "premis:rightsGrantedNote", note)


def _licence(root: Element, item: str, uri: str) -> None:
    statement = add(root, "premis:rightsStatement")
    holder = add(statement, "premis:rightsStatementIdentifier")
    add(holder, "premis:rightsStatementIdentifierType", LOCAL)
    add(holder, "premis:rightsStatementIdentifierValue", licence_name(item))
    add(statement, "premis:rightsBasis", "license")
    licence = add(statement, "premis:licenseInformation")
    document = add(licence, "premis:licenseDocumentationIdentifier")
    add(document, "premis:licenseDocumentationIdentifierType", "URI")
    add(document, "premis:licenseDocumentationIdentifierValue", uri)
    add(document, "premis:licenseDocumentationRole", "licence text")
    _of_item(statement, item)


def _of_item(statement: Element, item: str) -> None:
    link = add(statement, "premis:linkingObjectIdentifier")
    add(link, "premis:linkingObjectIdentifierType", LOCAL)
    add(link, "premis:linkingObjectIdentifierValue", object_name(item))
