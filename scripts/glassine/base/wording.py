"""Names and spans of time in a sentence."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence

from glassine.base.visible import visible

# Names told in one message.
_MAX_NAMED = 5


def some(names: Sequence[str], most: int) -> str:
    """Return the first `most` names in their order, and how many more there are.

    >>> some(["PEH-1", "PEH-2", "PEH-3"], 2)
    'PEH-1, PEH-2 and 1 more'
    """
    more = f" and {len(names) - most:,} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def listed(names: Iterable[str]) -> str:
    """Return names for a sentence, the first few of many."""
    return some(sorted(visible(name) for name in names), _MAX_NAMED)


def why(problem: BaseException) -> str:
    """Return in words what an error says, without a full stop at the end.

    >>> why(KeyError("frames"))
    "'frames' is missing"
    """
    if isinstance(problem, KeyError) and problem.args:
        return f"{problem.args[0]!r} is missing"
    if isinstance(problem, OSError) and problem.strerror:
        return problem.strerror
    words = " ".join(str(problem).split()).rstrip(".")
    return words or "it does not say why"


def near(wanted: str, names: Iterable[str]) -> str:
    """Return what to add to a message about an unknown name: names like it, or nothing."""
    close = difflib.get_close_matches(wanted, list(names), n=3)
    return f" Did you mean {' or '.join(close)}?" if close else ""


def span_words(seconds: float | None) -> str:
    """Return seconds as a person reads them.

    >>> span_words(0.123), span_words(75), span_words(7300)
    ('0.12 s', '1 min 15 s', '2 h 1 min')
    """
    if seconds is None:
        return ""
    if seconds < 60:
        return f"{seconds:.2f} s" if seconds < 10 else f"{seconds:.0f} s"
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes_left = divmod(minutes, 60)
    return f"{hours} h {minutes_left} min" if hours else f"{minutes} min {rest} s"
