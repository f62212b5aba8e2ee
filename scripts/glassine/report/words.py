"""The words of the report: sentences, times and receipts as a person reads them, for the page."""

from __future__ import annotations

import re
import statistics
from collections import Counter
from pathlib import Path
from typing import Any

import jinja2

from glassine.base import wording, zones
from glassine.base.visible import visible
from glassine.report import unnamed
from glassine.report.shown import Batch, Frame, Item, Master

_HERE = Path(__file__).parent
# A receipt's long lists are cut after so many entries.
_LISTED = 50
_DIGEST = re.compile(r"[0-9a-f]{32,128}")


def _plural(number: int, one: str, many: str | None = None) -> str:
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def verdict(counts: dict[str, int], missing: int = 0, troubled: bool = False) -> str:
    """Return in one sentence how the night went.

    missing: items that were delivered before and that the next delivery would drop, or a part;
    troubled: whether the batch as a whole has a problem that a person must act on.
    """
    total = counts["total"]
    also = []
    if missing:
        also.append(
            f"{_plural(missing, 'item')} of earlier deliveries would be dropped (see below)"
        )
    elif troubled:
        also.append("but the batch as a whole is held (see below)")
    if not total:
        sentence = "No items were taken in"
    elif counts["done"] == total:
        sentence = f"All {_plural(total, 'item')} are done" if total > 1 else "The one item is done"
    else:
        words = {
            "done": "done",
            "review": "for review",
            "held": "held",
            "waiting": "waiting for the next night",
            "pending": "pending",
        }
        numbers = [f"{counts[state]:,} {text}" for state, text in words.items() if counts[state]]
        sentence = f"{_plural(total, 'item')}: {', '.join(numbers)}"
    return f"{'; '.join([sentence, *also])}."


def safety(batch: Batch) -> str:
    """Return in one sentence whether the masters were what the capture station wrote when they
    were last read: no night reads again what is settled."""
    verdicts = Counter(
        master.verdict or ("unsound" if _digest_differs(item) else "unread")
        for item in batch.items
        for master in item.masters
    )
    differ = [item for item in batch.items if _digest_differs(item)]
    parts = []
    if verdicts["match"]:
        parts.append(
            f"{_plural(verdicts['match'], 'master')} agreed with the checksum list when last read"
            + _when_read(batch, "match")
        )
    if verdicts["unlisted"]:
        parts.append(
            f"{verdicts['unlisted']:,} {'is' if verdicts['unlisted'] == 1 else 'are'} on no "
            f"checksum list; {'its' if verdicts['unlisted'] == 1 else 'their'} digests were taken"
            + _when_read(batch, "unlisted")
        )
    if verdicts["unread"]:
        masters = "" if parts else (" master" if verdicts["unread"] == 1 else " masters")
        parts.append(f"{verdicts['unread']:,}{masters} not verified, or not with success")
    text = "; ".join(parts)
    if differ:
        names = wording.some([item.item for item in differ], 5)
        verb = "does" if len(differ) == 1 else "do"
        sentence = (
            f"{_plural(len(differ), 'item')} {verb} not agree with the checksum list: {names}"
        )
        text = f"{text}. {sentence}" if text else sentence
    return f"{text[0].upper()}{text[1:]}." if text else ""


def _when_read(batch: Batch, verdict: str) -> str:
    """Return between which days masters of this verdict were last read, oldest first."""
    days = sorted(
        {
            (master.read or "")[:10]
            for item in batch.items
            for master in item.masters
            if master.verdict == verdict and master.read
        }
    )
    if not days:
        return ""
    return f" ({days[0]})" if len(days) == 1 else f" (between {days[0]} and {days[-1]})"


def _digest_differs(item: Item) -> bool:
    return any(finding.code == "verify.digest" for finding in item.status.findings)


def outline(corners: list[list[float]]) -> str:
    """Return the path of an outline in SVG. corners: px of the master."""
    return "M" + "L".join(f"{round(x)} {round(y)}" for x, y in corners) + "Z"


def _centre(corners: list[list[float]]) -> list[int]:
    return [round(statistics.fmean(point[axis] for point in corners)) for axis in (0, 1)]


def _asked(frames: list[Frame], item: Item) -> list[Frame]:
    """Return the frames that a reason names first, then the others."""
    named = {reason.frame for reason in item.status.reasons}
    return sorted(frames, key=lambda frame: frame.n not in named)


def least_sure(frames: list[Frame]) -> float:
    """Return the confidence of the least certain frame; 0 where there is none."""
    return min((frame.confidence for frame in frames), default=0)


def card_facts(item: Item) -> str:
    """Return date, material and numbers of frames and masters as an item's card tells them."""
    frames, masters = len(item.frames), len(item.masters)
    told = [
        item.date,
        item.material,
        f"{frames} frame{'' if frames == 1 else 's'}" if frames else "",
        f"{masters} masters" if masters > 1 else "",
    ]
    return " · ".join(text for text in told if text)


def _wide(master: Master, long_edge_px: int) -> int:
    """Return the width of a master's preview whose long edge is so long, px."""
    width, height = master.width or 4, master.height or 3
    return max(1, round(long_edge_px * width / max(width, height)))


def _is_unmeasured(sentence: str) -> bool:
    """Return whether a sentence of `light` says that nothing could be measured."""
    return ": not measured: " in sentence


def _flat(value: Any, name: str = "") -> list[tuple[str, str]]:
    """Return the leaves of a receipt as (label, text); long lists are counted."""
    if isinstance(value, dict):
        rows = []
        for key in value:
            rows += _flat(value[key], f"{name} {key}".strip().replace("_", " "))
        return rows
    if isinstance(value, list):
        return _flat_list(value, name)
    return [(name, str(value))] if value not in (None, "") else []


def _flat_list(values: list[Any], name: str) -> list[tuple[str, str]]:
    """Return plain values in one line, records one after another; only the first of many."""
    if all(not isinstance(each, dict | list) for each in values):
        return [(name, wording.some([str(each) for each in values], _LISTED))] if values else []
    if name == "items":
        return [(name, f"{len(values)}")]
    rows = [
        row
        for number, each in enumerate(values[:_LISTED], 1)
        for row in _flat(each, f"{name} {number}" if len(values) > 1 else name)
    ]
    return rows if len(values) <= _LISTED else [*rows, (name, f"{len(values)} in all")]


def environment(zone: str | None = None) -> jinja2.Environment:
    """Return what makes the pages. zone: see `zones.beside`."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(_HERE),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        visible=visible,
        outline=outline,
        centre=_centre,
        asked=_asked,
        least_sure=least_sure,
        facts=card_facts,
        span=wording.span_words,
        moment=lambda text: zones.beside(text, zone),
        wide=_wide,
        flat=_flat,
        signs=lambda text: text.replace("<=", "≤").replace(">=", "≥"),
        unmeasured=_is_unmeasured,
        unnamed=unnamed.offered,
        asks=unnamed.asked,
        digest=lambda text: bool(_DIGEST.fullmatch(text)),
        scaled=lambda height, percent: round((height or 1000) * percent / 100),
    )
    environment.tests["unmeasured"] = _is_unmeasured
    return environment
