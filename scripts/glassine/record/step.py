"""Records of an item: METS with MODS, Dublin Core, PREMIS and MIX, and the IIIF manifest."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from glassine.base import files, target_results
from glassine.base.errors import Finding, GlassineError

if TYPE_CHECKING:
    from glassine.record.given import RecordGiven
    from glassine.record.item_records import ItemRecords

VERSION = "8"
MANIFEST = "manifest.json"


def prepare() -> None:
    """Do once a process what would be done for each item."""
    from glassine.base import markup, premis_event  # noqa: F401
    from glassine.record import check, history, item_records, mets, official, presentation  # noqa: F401

    premis_event.software(*history.PACKAGES)
    check.prepare()


def record_item(batch_dir: Path, item_dir: Path, given: RecordGiven) -> None:
    """Write manifest.json and METS.xml of an item, and check them before they take their names.
    An item none of whose pictures may be public has no manifest.

    Reads fixity.json, geometry.json, render/render.json, quality.json and embedded.json.
    Raises GlassineError with every finding of the project's own check and, where
    `records.schema_dir` is set, of the official schemas; nothing is written then.
    """
    from glassine.base import markup
    from glassine.record import check, history, item_records, mets, official, presentation

    given = msgspec.convert(markup.cleaned(msgspec.to_builtins(given)), type(given))
    target_results.share(item_dir.parents[1], item_dir, named=bool(given.batch_facts.targets))
    records = item_records.gather(item_dir, given)
    findings = _divisions(records)
    now = history.now({"step": VERSION, "profile": mets.PROFILE})
    with contextlib.ExitStack() as stack:
        standing_in = {}
        if given.access.public == "none":
            # A manifest is a page of pictures for all; one of before goes with them.
            presentation.shown_frames(given.item, records.render)
            (item_dir / MANIFEST).unlink(missing_ok=True)
        else:
            path = stack.enter_context(files.replacing(item_dir / MANIFEST))
            manifest = presentation.manifest(given, records.render, records.embedded)
            path.write_text(files.dump_json(msgspec.to_builtins(manifest)), "utf-8")
            standing_in[MANIFEST] = path
            records.files[MANIFEST] = item_records.read_file(
                path, MANIFEST, "presentation", "application/ld+json", now.time
            )
        mets_path = stack.enter_context(files.replacing(item_dir / "METS.xml"))
        root = mets.build(records, history.of_item(records, now), now)
        mets_path.write_bytes(markup.write(root))
        findings += check.check_record(mets_path, item_dir, standing_in=standing_in, tiles=False)
        schema_dir = given.settings.records.schema_dir
        if schema_dir:
            findings += official.check_schemas(mets_path, Path(schema_dir))
        held = [finding for finding in findings if finding.severity == "hold"]
        if held:
            raise GlassineError(held)


def _divisions(records: ItemRecords) -> list[Finding]:
    """Return a finding where the catalogue's divisions name frames that there are not."""
    count = len(records.render.frames)
    wrong = [
        division.label
        for division in records.row.structure
        if any(number > count for number in division.frames)
    ]
    return [
        Finding(
            "record.division",
            records.item,
            f"The catalogue's division {label!r} names a frame that the item does not have.",
            f"frames from 1 to {count}.",
            "Correct the division in the catalogue, or the frames in the review page.",
        )
        for label in wrong
    ]
