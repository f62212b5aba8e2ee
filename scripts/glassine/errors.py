"""What a person is told when an item cannot go on."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any


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
        return asdict(self)

    def sentence(self) -> str:
        return (
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
