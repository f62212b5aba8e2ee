"""The masters of an item in their order."""

from __future__ import annotations

from glassine.base import naming, parts
from glassine.intake import sessions
from glassine.intake.model import Master


def order(master: Master) -> tuple[object, ...]:
    """Return the key by which the masters of an item follow each other.

    Film comes before the sleeve and the whole object, in the order of the film; a capture that was
    made again comes after the one that counts.
    """
    return (
        parts.is_shown_whole(master.part),
        naming.film_order(master.sequence),
        master.superseded_by is not None,
        sessions.by_name(master.path) if master.sequence else (master.path,),
    )
