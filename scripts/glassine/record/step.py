"""Records of an item: METS with MODS, Dublin Core, PREMIS and MIX, and the IIIF manifest."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from glassine.base import files, target_results
from glassine.base.errors import Finding, GlassineError

if TYPE_CHECKING:
    from glassine.record.given import RecordGiven
    from glassine.record.item_records import ItemRecords

VERSION = "6"


def record_item(batch_dir: Path, item_dir: Path, given: RecordGiven) -> None:
    """Write manifest.json and METS.xml of an item, and check them before they take their names.

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
    manifest = presentation.manifest(given, records.render, records.embedded)
    now = history.now({"step": VERSION, "profile": mets.PROFILE})
    with (
        files.replacing(item_dir / "manifest.json") as manifest_path,
        files.replacing(item_dir / "METS.xml") as mets_path,
    ):
        manifest_path.write_text(files.dump_json(msgspec.to_builtins(manifest)), "utf-8")
        entry = item_records.read_file(
            manifest_path, "manifest.json", "presentation", "application/ld+json", now.time
        )
        records.files[entry.path] = entry
        root = mets.build(records, history.of_item(records, now), now)
        mets_path.write_bytes(markup.write(root))
        findings += check.check_record(
            mets_path, item_dir, standing_in={"manifest.json": manifest_path}, tiles=False
        )
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
