"""Names in a sentence: the first few of many."""

from __future__ import annotations

from collections.abc import Sequence


def some(names: Sequence[str], most: int) -> str:
    """Return the first `most` names in their order, and how many more there are.

    >>> some(["PEH-1", "PEH-2", "PEH-3"], 2)
    'PEH-1, PEH-2 and 1 more'
    """
    more = f" and {len(names) - most:,} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more
