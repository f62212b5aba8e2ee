"""When two spellings of a catalogue number are the same number: by the studio's own rules."""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

_ZEROS = re.compile(r"(?<![0-9])0+(?=[0-9])")
_NOT_OF_ID = re.compile(r"[^A-Za-z0-9._-]+")
# Longer texts are no numbers; they stay as they are.
_LONGEST = 300


@dataclass(frozen=True)
class Numbers:
    """The rules of `naming.same_number`: what makes no difference between two numbers.

    marks: characters that are one and the same, as "/-". leading_zeros: whether those before a run
    of digits make none. case: whether capitals make none. table: {a spelling: the same number as it
    is meant}, looked up before the rules.
    """

    marks: str = ""
    leading_zeros: bool = False
    case: bool = False
    table: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def states_nothing(self) -> bool:
        return not (self.marks or self.leading_zeros or self.case or self.table)

    def key(self, text: str) -> str:
        """Return what is the same for all spellings of one number.

        >>> rules = Numbers(marks="/-", leading_zeros=True)
        >>> rules.key("1987.23/45") == rules.key("1987.23-0045")
        True
        """
        plain = self._plain(text)
        return self._table.get(plain, plain)

    def meant(self, text: str) -> str:
        """Return the number that the table gives for a spelling, else the text itself."""
        return self._meant.get(self._plain(text), text.strip())

    def id_form(self, text: str) -> str:
        """Return the number as an id may have it: marks that no id has become a hyphen."""
        text = self.meant(text)
        if not any(mark in text for mark in self.marks):
            return text
        return _NOT_OF_ID.sub("-", text)

    def _plain(self, text: str) -> str:
        plain = unicodedata.normalize("NFC", text.strip()) if len(text) <= _LONGEST else text
        if self.marks:
            plain = self._marks.sub("-", plain)
        if self.leading_zeros:
            plain = _ZEROS.sub("", plain)
        return plain.casefold() if self.case else plain

    @functools.cached_property
    def _marks(self) -> re.Pattern[str]:
        return re.compile(f"[{re.escape(self.marks)}]")

    @functools.cached_property
    def _meant(self) -> dict[str, str]:
        return {self._plain(text): meant for text, meant in self.table.items()}

    @functools.cached_property
    def _table(self) -> dict[str, str]:
        return {text: self._plain(meant) for text, meant in self._meant.items()}


# Exactly as it is written.
EXACT = Numbers()
