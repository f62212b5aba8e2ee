"""Names in a sentence."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from glassine.base.visible import visible

# Names told in one message.
_MAX_NAMED = 5


def listed(names: Iterable[str]) -> str:
    """Return names for a sentence, the first few of many."""
    told = sorted(visible(name) for name in names)
    more = f" and {len(told) - _MAX_NAMED} more" if len(told) > _MAX_NAMED else ""
    return ", ".join(told[:_MAX_NAMED]) + more


def near(wanted: str, names: Iterable[str]) -> str:
    """Return what to add to a message about an unknown name: names like it, or nothing."""
    close = difflib.get_close_matches(wanted, list(names), n=3)
    return f" Did you mean {' or '.join(close)}?" if close else ""
