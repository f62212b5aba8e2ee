"""What plots are drawn with: elements of SVG 1.1, escaped, and a plane with linear axes."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

import numpy as np


def tag(name: str, inside: str | None = None, /, **attributes: object) -> str:
    """Return an element. inside: SVG, as it is; attributes: as text, escaped, `_` for a hyphen.

    >>> tag("path", d="M0 0H9", stroke_width=2)
    '<path d="M0 0H9" stroke-width="2"/>'
    """
    stated = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(str(value))}"'
        for key, value in attributes.items()
    )
    return f"<{name}{stated}/>" if inside is None else f"<{name}{stated}>{inside}</{name}>"


def text(words: str, **attributes: object) -> str:
    return tag("text", escape(words), **attributes)


def description(words: str) -> str:
    """Return what a screen reader reads after the title."""
    return tag("desc", escape(words))


def title(words: str) -> str:
    """Return what a viewer shows over an element, and a screen reader reads."""
    return tag("title", escape(words))


@dataclass(frozen=True)
class Plane:
    """A picture of width x height px with margins, and what its axes mean: x, y as (low, high)."""

    width: int
    height: int
    left: int
    right: int
    top: int
    bottom: int
    x: tuple[float, float] = (0.0, 1.0)
    y: tuple[float, float] = (0.0, 1.0)

    @property
    def wide(self) -> int:
        """Px between the margins; `tall`: the same upwards; `end`, `foot`: where they end."""
        return self.width - self.left - self.right

    @property
    def tall(self) -> int:
        return self.height - self.top - self.bottom

    @property
    def end(self) -> int:
        return self.width - self.right

    @property
    def foot(self) -> int:
        return self.height - self.bottom

    def across(self, value: float) -> float:
        """Return where on the picture a value of x lies, in px."""
        return self.left + (value - self.x[0]) / (self.x[1] - self.x[0]) * self.wide

    def up(self, value: float) -> float:
        """Return where on the picture a value of y lies, in px from its top."""
        return self.foot - (value - self.y[0]) / (self.y[1] - self.y[0]) * self.tall


def ticks(low: float, high: float) -> list[float]:
    """Return even, round values from low to high, eleven at most."""
    step = 10 ** np.floor(np.log10(max(high - low, 1e-9)))
    for share in (0.1, 0.2, 0.5, 1.0):
        if (high - low) / (step * share) <= 8:
            step *= share
            break
    first = int(np.ceil(low / step - 1e-9))
    return [round(float(index * step), 10) for index in range(first, int(high / step + 1e-9) + 1)]
