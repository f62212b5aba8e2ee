"""Who may see an item, and until when: what its catalogue row, the settings and the day say.

The row's `access` is what holds for good; until the last day of an embargo the item is closed,
whatever else is stated. So a date that lapses never opens more than the row says by itself, and
what cannot be read never opens anything: it holds the item before this module is asked.

Levels (common words of archives; common practice, no source): `open`; `reading_room`, seen on the
premises alone; `no_publication`, not to be published; `closed`, withdrawn or under embargo.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, Literal, get_args

import msgspec

from glassine.base.records import Given
from glassine.base.records.catalogue import CatalogueRow, Level, RowAccess

# Public pictures of an item: all of them; small ones without tiles; none.
Public = Literal["all", "small", "none"]
# What of an item goes into a delivery: its masters too; its records alone; nothing of it.
Deliver = Literal["masters", "records", "nothing"]
# Folder of the pictures of an item of which none may be public; it goes into no package.
RESTRICTED = "restricted"
# Folder of the pictures that the settings keep in the studio; no package takes it either.
STUDIO = "studio"
# How the words of an item begin that a person withdrew from delivery.
_WITHDRAWN = "Withdrawn from delivery: "
# So many days before and after an embargo ends, a night tells of it.
NOTICE_DAYS = 31
LEVELS: tuple[Level, ...] = get_args(Level)
# What each level is called in records and reports.
NAMES: dict[Level, str] = {
    "open": "open",
    "reading_room": "reading room only",
    "no_publication": "not for publication",
    "closed": "closed",
}


def stays(path: str) -> bool:
    """Return whether a picture stays with the studio. path: in the item's folder."""
    return path.partition("/")[0] in (RESTRICTED, STUDIO)


class DeliverSection(Given, frozen=True, kw_only=True):
    """What of an item is delivered, by its level; of what is open, everything is."""

    closed: Deliver = "masters"
    no_publication: Deliver = "masters"
    reading_room: Deliver = "masters"

    def of_level(self, level: Level) -> Deliver:
        stated = {
            "closed": self.closed,
            "no_publication": self.no_publication,
            "reading_room": self.reading_room,
        }
        return stated.get(level, "masters")


class AccessSection(Given, frozen=True, kw_only=True):
    """The section `access` of the settings. words: {word of the catalogue: level}. default: of
    items that state nothing. restricted: public pictures of what is for the reading room or not for
    publication. small_px: long edge of small ones. deliver: what of restricted items goes into a
    delivery."""

    words: dict[str, Level] = msgspec.field(default_factory=dict)
    default: Level = "open"
    restricted: Literal["none", "small"] = "none"
    small_px: int = 400
    deliver: DeliverSection = DeliverSection()


class PublicPictures(Given, frozen=True, kw_only=True):
    """What of an item's pictures may be public. small_px: longest edge, where they are small."""

    public: Public = "all"
    small_px: int | None = None


ALL_PUBLIC = PublicPictures()


class Access(PublicPictures, frozen=True, kw_only=True):
    """Who may see an item on a day. level: as it is now. until: last day of an embargo that lasts
    (ISO 8601), "" for none. after: the level from the day after. words: of the catalogue, as they
    stand; doubt: words elsewhere in the row, for which it is closed until access is stated.
    deliver: what of it goes into a delivery."""

    level: Level = "open"
    until: str = ""
    after: Level = "open"
    words: str = ""
    doubt: str = ""
    deliver: Deliver = "masters"

    @property
    def is_withdrawn(self) -> bool:
        return self.words.startswith(_WITHDRAWN)

    @property
    def is_restricted(self) -> bool:
        return self.level != "open"

    @property
    def opens(self) -> str:
        """Return the first day on which more is allowed, "" where no day is known."""
        if not self.until or self.after == "closed":
            return ""
        return (date.fromisoformat(self.until) + timedelta(days=1)).isoformat()

    def sentence(self) -> str:
        """Return in words who may see it, e.g. "closed until 2031-12-31, then open"."""
        if self.until:
            return f"{NAMES['closed']} until {self.until}, then {NAMES[self.after]}"
        return NAMES[self.level]

    def sentence_if_restricted(self) -> str:
        """Return `sentence` with a capital letter, "" for an open item."""
        text = self.sentence()
        return text[0].upper() + text[1:] if self.is_restricted else ""

    def pictures_in_words(self) -> str:
        """Return what of its pictures is public, as a sentence."""
        return {
            "all": "All its pictures are public.",
            "small": f"Public pictures are at most {self.small_px} px long, without tiles.",
            "none": "None of its pictures is public.",
        }[self.public]

    def delivered_in_words(self) -> str:
        """Return what of it is kept out of deliveries, as a sentence; "" where nothing is."""
        return {
            "masters": "",
            "records": "Its masters are not in the delivery: whoever delivers keeps them.",
            "nothing": "It is not delivered.",
        }[self.deliver]

    def in_full(self) -> str:
        """Return in words who may see it, and what of it is kept out of deliveries."""
        kept = {"masters": "", "records": "; masters not delivered", "nothing": "; not delivered"}
        return f"{self.sentence()}{kept[self.deliver]}"


OPEN = Access()


class ListedAccess(Given, frozen=True, kw_only=True):
    """An item that not all may see, or whose embargo ended lately, on the day of a night.

    words: who may see it. public: which of its pictures are. opens: the first day on which more is
    allowed, "" where no day is known. ended: the last day of an embargo that ended within
    `NOTICE_DAYS`. soon: whether it opens within as many days.
    """

    item: str
    words: str
    public: Public = "all"
    opens: str = ""
    ended: str = ""
    soon: bool = False

    @property
    def is_restricted(self) -> bool:
        return self.public != "all"


def listed(item: str, row: CatalogueRow | None, access: Access, today: date) -> ListedAccess | None:
    """Return what a night tells of an item: None of one that is open and has been."""
    stated = row.access.until if row is not None and isinstance(row.access, RowAccess) else ""
    last = date.fromisoformat(stated) if stated and not access.until else None
    lately = last is not None and last < today <= last + timedelta(days=NOTICE_DAYS)
    if not access.is_restricted and not lately:
        return None
    opens = access.opens
    return ListedAccess(
        item=item,
        words=access.sentence(),
        public=access.public,
        opens=opens,
        ended=stated if lately else "",
        soon=bool(opens) and date.fromisoformat(opens) <= today + timedelta(days=NOTICE_DAYS),
    )


def of_row(row: CatalogueRow | None, section: AccessSection, today: date) -> Access:
    """Return who may see an item on a day, by its catalogue row (None where there is none).

    An embargo counts to the end of its last day.
    """
    stated = row.access if row is not None and isinstance(row.access, RowAccess) else RowAccess()
    after = stated.level or ("closed" if stated.doubt else section.default)
    lasts = bool(stated.until) and today <= date.fromisoformat(stated.until)
    level: Level = "closed" if lasts else after
    public: Public = "all"
    if level == "closed":
        public = "none"
    elif level != "open":
        public = section.restricted
    return Access(
        public=public,
        small_px=section.small_px if public == "small" else None,
        level=level,
        until=stated.until if lasts else "",
        after=after,
        words=stated.words,
        doubt="" if stated.level else stated.doubt,
        deliver=section.deliver.of_level(level),
    )


def withdrawn(reason: str, by: str, when: str) -> Access:
    """Return who may see an item that a person withdrew from delivery: nobody, until that word is
    taken back. by: role id; when: xs:dateTime."""
    words = f"{_WITHDRAWN}{reason} ({by}, {when})"
    return Access(public="none", level="closed", after="closed", words=words)


def as_given(access: Access) -> dict[str, Any]:
    """Return it as plain JSON without what is as by default, for what a step is given."""
    plain: dict[str, Any] = msgspec.to_builtins(access)
    usual: dict[str, Any] = msgspec.to_builtins(OPEN)
    return {key: value for key, value in plain.items() if value != usual[key]}
