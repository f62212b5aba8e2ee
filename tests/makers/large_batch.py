"""A large batch as the report's page gets it, made in memory: no night's."""

from __future__ import annotations

from pathlib import Path

from glassine.base.item_states import Finding, ItemStatus, Reason
from glassine.base.records.corrections import Correction
from glassine.base.records.given import Institution
from glassine.report import page
from glassine.report.shown import Batch, Frame, Item, ListedRow, Master
from glassine.report.timing import throughput
from glassine.report.views import Measure
from makers import make_results

INSTITUTION = Institution(
    name="Port Ellery Harbour Archive", id="https://archive.port-ellery.example/"
)
# One item in so many has each state.
STATES = ("done", "done", "done", "review", "held")
TITLES = (
    "Lighters at the coal wharf, seen from the north mole",
    "Keel-laying of the tug «Möwe»",
    "Nets drying; Čestmír’s yard <east & west>",
    "Harbour office, winter light",
)
DATES = ("4 May 1931", "about 1928", "1930s", "undated")
MATERIALS = ("acetate", "polyester", "nitrate", "glass", "unknown")


def _frame(number: int, of: int, review: bool) -> Frame:
    noise = Measure(name="noise", value=0.01 + of % 17 / 1000, unit="D", limit="<= 0.02",
                    verdict="pass", source="studio limit")  # fmt: skip
    return Frame(
        n=number, corners=make_results.strip(number % 3), angle=0.1, rotate=0, mirror=False,
        polarity="negative", process="colour", blank=False, exclude=False, confidence=0.5,
        state="review" if review else "ok", seen=None, source="measured", reasons=(), files={},
        tiles=None, measures=[noise],
    )  # fmt: skip


def item(number: int, frames: int) -> Item:
    """Return an item; those for review have many different reasons, held ones a finding."""
    name, state = f"PEH-{number:05d}", STATES[number % len(STATES)]
    word = chr(97 + number % 26) * (1 + number % 60)
    held = Finding(
        "verify.digest", f"{name}.tif", f"Its SHA-256 is not the listed one, {word}.",
        "the digest that the capture station listed.", "Copy the master again, then run again.",
    )  # fmt: skip
    status = ItemStatus(
        name,
        state=state,  # type: ignore[arg-type]
        step="verify" if state == "held" else None,
        findings=[held] if state == "held" else [],
        reasons=[Reason(f"The left edge was not seen, {word}.", f"{name}.tif", 1)]
        if state == "review"
        else [],
    )
    small = f"small/{name}/{name}.jpg"
    master = Master(
        path=f"{name}.tif", width=6400, height=4800, preview=small, small=small, middle=small,
        frames=[_frame(each, number, state == "review") for each in range(1, frames + 1)],
    )  # fmt: skip
    return Item(
        status,
        title=TITLES[number % len(TITLES)],
        date=DATES[number % 4],
        material=MATERIALS[number % 5],
        decay_level=number % 6,
        masters=[master],
    )


def batch_of(count: int, frames: int = 6) -> Batch:
    """Return a batch of so many items, masters of so many frames; a fifth of it was decided."""
    items = [item(number, frames) for number in range(count)]
    states = [each.status.state for each in items]
    names = ("held", "review", "waiting", "pending", "done")
    counts = {name: states.count(name) for name in names}  # type: ignore[arg-type]
    return Batch(
        "harbour",
        "Harbour office negatives",
        items,
        counts | {"total": count},
        without_master=[ListedRow(f"PEH-9{n:05d}", "Slipway", "acetate", 2) for n in range(count)],
        standing={each.item: Correction(note="Seen.") for each in items[:: len(STATES)]},
    )


def rendered(batch: Batch) -> str:
    """Return the page of the batch."""
    return page.render(batch, throughput([], {}), INSTITUTION, viewer=False)


def write(folder: Path, batch: Batch) -> Path:
    """Write the page with all its pieces and small pictures into `folder`; return the page."""
    folder.mkdir(parents=True, exist_ok=True)
    picture = make_results.draw_preview([make_results.strip(each) for each in range(3)])
    content = picture.resize(200 / picture.width).jpegsave_buffer(Q=75)
    for each in batch.items:
        place = folder / "small" / each.item / f"{each.item}.jpg"
        place.parent.mkdir(parents=True)
        place.write_bytes(content)
    for name, text in {**page.detail_files(batch), **page.list_files(batch)}.items():
        (folder / name).write_text(text, "utf-8")
    (folder / "index.html").write_text(rendered(batch), "utf-8")
    return folder / "index.html"
