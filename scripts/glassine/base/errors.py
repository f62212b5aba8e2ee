"""What a person is told when an item cannot go on."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from glassine.base.visible import visible


@dataclass(frozen=True)
class Finding:
    """One thing found wrong, in the words an operator reads.

    code: stable, `<step>.<what>`; path: the file concerned (as shown to a person);
    what: what is wrong; expected: what would have been right; next_step: what to do;
    severity: "hold" (the item stops), "review" (a person should look) or "note".
    """

    code: str
    path: str
    what: str
    expected: str
    next_step: str
    severity: str = "hold"

    def as_dict(self) -> dict[str, Any]:
        """Return it for a record; halves of a pair of characters, which UTF-8 lacks, escaped."""
        texts: dict[str, str] = asdict(self)
        return {
            key: text.encode("utf-8", "backslashreplace").decode() for key, text in texts.items()
        }

    def shown(self) -> Finding:
        """Return it with controls and invisible characters made visible, for a person to read."""
        return Finding(*(visible(text) for text in asdict(self).values()))

    def sentence(self) -> str:
        """Return it in one line that no character in it can break or turn around."""
        return visible(
            f"{self.path}: {self.what} Expected: {self.expected} "
            f"Next step: {self.next_step} [{self.code}]"
        )


class GlassineError(Exception):
    """An item, batch or run cannot go on; `findings` say why, for an operator.

    >>> GlassineError.because("verify.digest", "a.tif", "Digest differs.", "as listed.", "Copy.")
    """

    def __init__(self, findings: list[Finding]) -> None:
        if not findings:
            raise ValueError("an error needs at least one finding")
        super().__init__("\n".join(finding.sentence() for finding in findings))
        self.findings = findings

    @classmethod
    def because(
        cls, code: str, path: object, what: str, expected: str, next_step: str
    ) -> GlassineError:
        return cls([Finding(code, str(path), what, expected, next_step)])
