"""The steps' records (JSON) against the files, and against what the item's METS repeats of them."""

from __future__ import annotations

import html
import json
from collections.abc import Iterator
from typing import Any

from lxml import etree

from glassine.base.errors import Finding
from glassine.deliver.checks import pictures
from glassine.deliver.checks.item import BagItem, wrong
from glassine.record import rules
from glassine.record.parsed import ParsedRecord

_DC_TITLE = ".//{http://purl.org/dc/elements/1.1/}title//*"
_RDF_LI = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}li"


def check(item: BagItem, record: ParsedRecord) -> Iterator[Finding]:
    """Yield what the steps' records say otherwise than the files or the METS."""
    fixity, embedded = item.json("metadata/fixity.json"), item.json("metadata/embedded.json")
    for path in ("fixity", "embedded", "render", "quality", "geometry"):
        if item.json(f"metadata/{path}.json")["item"] != item.name:
            yield _record(item, f"metadata/{path}.json", "It is of another item.", item.name)
    for master in fixity["masters"]:
        yield from _kept(item, record, f"masters/{master['path']}", master)
        if "source" in master:
            yield from _kept(item, record, f"raw/{master['source']['path']}", master["source"])
        yield from _header(item, f"masters/{master['path']}", master["header"])
    for file in embedded["files"]:
        if not file["path"].startswith("restricted/"):
            yield from _listed(item, "metadata/embedded.json", file["path"], file)
            yield from _sized(item, file)
    yield from _events(item, record, fixity, embedded)
    geometry = item.json("metadata/geometry.json")
    yield from _sampling(item, record, geometry)
    yield from _polarity(item, geometry, item.json("metadata/render.json"))
    yield from _described(item, record, embedded)
    yield from _shown(item)


def _record(item: BagItem, path: str, what: str, expected: str) -> Finding:
    return wrong("delivered.steps", item.path(path), what, f"{expected}.")


def _kept(item: BagItem, record: ParsedRecord, path: str, entry: Any) -> Iterator[Finding]:
    """Yield where a master or raw file is not as it was verified; where it was left out of the
    package by setting (see `raw_keep`, `access.deliver`), where the record has other digests of
    it."""
    objects = record.find(
        "//premis:object[premis:objectIdentifier/premis:objectIdentifierValue=$name]"
        "[premis:preservationLevel/premis:preservationLevelValue]",
        name=f"{record.item}/{path}",
    )
    file = record.files.get(path)
    premis = record.wrapped(file, "PREMIS:OBJECT") if file is not None else None
    if file is not None and premis is not None and record.is_kept_back(path):
        objects = [premis]
    if item.has(path) or not objects:
        yield from _listed(item, "metadata/fixity.json", path, entry)
        return
    yield from _left_out(item, record, path, entry, objects)


def _left_out(
    item: BagItem, record: ParsedRecord, path: str, entry: Any, objects: list[Any]
) -> Iterator[Finding]:
    """Yield where the record has other digests of a file that the package leaves out, or none."""
    known = [each for each in objects if each is not None]
    fixity = "premis:objectCharacteristics/premis:fixity"
    stated = rules.digests(record, known[0], fixity, "premis") if known else {}
    digests = {"SHA-256": entry["digests"]["sha256"], "SHA-512": entry["digests"]["sha512"]}
    if {name: stated.get(name) for name in digests} != digests:
        what = f"The record has other digests of {path}, which the package leaves out."
        yield wrong("delivered.left_out", item.record, what, "those in fixity.json.")


def _listed(item: BagItem, of: str, path: str, entry: Any) -> Iterator[Finding]:
    """Yield where a file has other digests or another size than a step noted."""
    found = item.digests(path)
    digests = entry.get("digests", entry)
    stated = (entry["bytes"], digests["sha256"], digests["sha512"])
    if found is None or (found.bytes, found.sha256, found.sha512) != stated:
        yield wrong(
            "delivered.noted",
            item.path(path),
            f"It is not the file that {of} notes.",
            f"{entry['bytes']} bytes with the SHA-256 {digests['sha256']}.",
        )


def _seen(item: BagItem, path: str) -> pictures.Seen | None:
    if item.digests(path) is None:
        return None  # told already
    try:
        with item.open(path) as opened:
            return pictures.seen(opened, item.reading.store.files[item.plain[path]])
    except pictures.Odd:
        return None  # told beside the record


def packet_of(item: BagItem, path: str) -> bytes:
    """Return the XMP packet of a JPEG of the package, empty where there is none."""
    found = _seen(item, path) if item.has(path) else None
    return found.xmp if found is not None else b""


def _header(item: BagItem, path: str, header: Any) -> Iterator[Finding]:
    found = _seen(item, path)
    if found is None:
        return
    facts = {
        "size": ((found.width, found.height), (header["width"], header["height"])),
        "bits": ([found.bits] * found.samples, header["bits"]),
        "byte order": (found.byte_order, header["byte_order"]),
    }
    stated = header["resolution"]
    if found.resolution is not None and stated is not None:
        facts["resolution"] = (
            tuple(round(value, 2) for value in found.resolution),
            (round(stated["x"], 2), round(stated["y"], 2)),
        )
    for name, (is_so, noted) in facts.items():
        if is_so != noted:
            yield wrong(
                "delivered.master_header",
                item.path(path),
                f"fixity.json notes {noted} as its {name}.",
                f"{is_so}, as the file itself says.",
            )


def _sampling(item: BagItem, record: ParsedRecord, geometry: Any) -> Iterator[Finding]:
    """Yield masters whose MIX gives another resolution than they were measured and rendered by."""
    metrics = "mix:ImageAssessmentMetadata/mix:SpatialMetrics"
    for master in geometry["masters"]:
        file = record.files.get(f"masters/{master['path']}")
        mix = record.wrapped(file, "NISOIMG") if file is not None else None
        unit = record.texts(f"{metrics}/mix:samplingFrequencyUnit", mix) if mix is not None else []
        if unit != ["in."] or not master["ppi"]:
            continue
        for axis in ("x", "y"):
            fraction = f"{metrics}/mix:{axis}SamplingFrequency"
            above = record.texts(f"{fraction}/mix:numerator", mix)
            below = record.texts(f"{fraction}/mix:denominator", mix) or ["1"]
            stated = float(above[0]) / float(below[0]) if above and float(below[0]) else 0.0
            if abs(stated - master["ppi"]) > 0.001 * master["ppi"]:
                what = f"MIX gives it {stated:g} ppi."
                expected = f"{master['ppi']:g} ppi, as geometry.json has it."
                yield wrong(
                    "delivered.sampling", item.path(f"masters/{master['path']}"), what, expected
                )


def _polarity(item: BagItem, geometry: Any, render: Any) -> Iterator[Finding]:
    """Yield frames that were rendered as of another polarity than they were found to be."""
    located = {
        (master["path"], frame["index"]): frame["polarity"]
        for master in geometry["masters"]
        for frame in master["frames"]
    }
    for frame in render["frames"]:
        if frame["tone"] is None:
            continue
        stated, rendering = located[frame["master"], frame["index"]], frame["tone"]["rendering"]
        if rendering.partition(",")[0] != stated:
            what = f"Frame {frame['index']} of {frame['master']} is {stated} there."
            yield _record(
                item, "metadata/geometry.json", what, f"{rendering}, as render.json has it"
            )


def _sized(item: BagItem, file: Any) -> Iterator[Finding]:
    found = _seen(item, file["path"])
    if found is not None and (found.width, found.height) != (file["width"], file["height"]):
        yield wrong(
            "delivered.derivative_size",
            item.path(file["path"]),
            f"embedded.json notes {file['width']} x {file['height']} px of it.",
            f"{found.width} x {found.height} px, as the picture has them.",
        )


def _events(item: BagItem, record: ParsedRecord, fixity: Any, embedded: Any) -> Iterator[Finding]:
    """Yield where the steps' records and the events in METS tell a different history."""
    told = _told(record)
    geometry, quality = item.json("metadata/geometry.json"), item.json("metadata/quality.json")
    render = item.json("metadata/render.json")
    name = item.name
    expected: list[tuple[str, str, Any, str | None, Any]] = [
        (f"{name}#ingestion", "fixity", fixity["event"]["time"], "success", None),
        (
            f"{name}#geometry",
            "geometry",
            geometry["event"]["time"],
            geometry["event"]["outcome"],
            {master["path"]: _corners(master["frames"]) for master in geometry["masters"]},
        ),
        (
            f"{name}#embedding",
            "embedded",
            embedded["event"]["time"],
            embedded["event"]["outcome"],
            {
                key: value
                for key, value in embedded["event"]["detail"].items()
                if key not in ("catalogue", "institution")
            },
        ),
        (
            f"{name}#quality",
            "quality",
            quality["event"]["time"],
            _worst([frame["verdict"] for frame in quality["frames"]]),
            [_measures(frame) for frame in quality["frames"]],
        ),
    ]
    event = render["event"]
    for frame in render["frames"]:
        start = f"{name}/masters/{frame['master']}#frame-{frame['index']}"
        tone = {"frame": frame["index"], "tone": frame["tone"]}
        settings = {"frame": frame["index"], "settings": event["detail"]}
        expected.append((f"{start}-image", "render", event["time"], event["outcome"], tone))
        expected.append((f"{start}-files", "render", event["time"], event["outcome"], settings))
    for master in fixity["masters"]:
        of_master = f"{name}/masters/{master['path']}"
        expected.append((f"{of_master}#decoding", "render", event["time"], "success", None))
        arrived = f"{name}/raw/{master['source']['path']}" if "source" in master else of_master
        time = fixity["event"]["time"]
        expected.append((f"{arrived}#digests", "fixity", time, "success", None))
        if master.get("source", master)["expected"]:
            verdict = "pass" if master.get("source", master)["verdict"] == "match" else "fail"
            expected.append((f"{arrived}#fixity", "fixity", time, verdict, None))
    for identifier, of, time, outcome, detail in expected:
        if identifier in told:  # which events there must be, say the record's own rules
            yield from _told_otherwise(
                item, told[identifier], identifier, of, time, outcome, detail
            )


def _told(record: ParsedRecord) -> dict[str, Any]:
    events: dict[str, Any] = {}
    for event in record.find("//premis:event"):
        for value in record.texts("premis:eventIdentifier/premis:eventIdentifierValue", event):
            outcome = "premis:eventOutcomeInformation/premis:eventOutcome"
            detail = "premis:eventDetailInformation/premis:eventDetail"
            events[value] = {
                "time": record.texts("premis:eventDateTime", event),
                "outcome": record.texts(outcome, event),
                "detail": record.texts(detail, event),
            }
    return events


def _told_otherwise(
    item: BagItem, told: Any, identifier: str, of: str, time: str, outcome: str | None, detail: Any
) -> Iterator[Finding]:
    differing = []
    if told["time"] != [time]:
        differing.append("time")
    if outcome is not None and told["outcome"] != [outcome]:
        differing.append("outcome")
    if detail is not None:
        try:
            stated = json.loads("".join(told["detail"]))
        except (ValueError, RecursionError):
            stated = None
        if identifier.endswith("#geometry"):
            frames = (stated or {}).get("frames", {})
            stated = {path: _corners(each) for path, each in frames.items()}
        if _plain(stated) != _plain(detail):
            differing.append("detail")
    if differing:
        yield wrong(
            "delivered.event",
            item.path(f"metadata/{of}.json"),
            f"METS tells the event {identifier} otherwise: its {', '.join(differing)}.",
            "the same in both.",
        )


def _corners(frames: Any) -> Any:
    return [[frame["index"], frame["corners"]] for frame in frames]


def _plain(value: Any) -> Any:
    """Return a value so that 8.0 and 8 are the same, and so are what JSON does not tell apart."""
    return json.loads(json.dumps(value, sort_keys=True), parse_int=float)


def _worst(verdicts: list[str]) -> str | None:
    order = ("fail", "review", "not measured", "pass")
    return next((verdict for verdict in order if verdict in verdicts), None)


def _measures(frame: Any) -> Any:
    return {
        "master": frame["master"],
        "frame": frame["index"],
        "verdict": frame["verdict"],
        "measures": {
            each["name"]: [each["value"], each["unit"], each["verdict"]]
            for each in frame["measures"]
        },
    }


def _described(item: BagItem, record: ParsedRecord, embedded: Any) -> Iterator[Finding]:
    """Yield where title, date and rights of the catalogue's row are not those of the record."""
    row = embedded["event"]["detail"].get("catalogue")
    if row is None:
        return
    title = row["title"] or item.name
    facts: list[tuple[str, list[str], list[str]]] = [
        (
            "title of MODS",
            record.texts("//mods:mods/mods:titleInfo[not(@type)]/mods:title"),
            [title],
        ),
        ("title of Dublin Core", record.texts("//dc:title[1]")[:1], [title]),
        ("label", [record.root.get("LABEL") or ""], [title]),
        (
            "date of MODS",
            record.texts("//mods:mods/mods:originInfo/mods:dateCreated[not(@encoding)]"),
            [row["date_text"]] if row["date_text"] else [],
        ),
    ]
    if item.has("manifest.json"):
        label = item.json("manifest.json")["label"]
        facts.append(
            ("label of the manifest", [text for each in label.values() for text in each], [title])
        )
    if row["rights"].get("uri"):
        uris = [
            str(uri)
            for uri in record.find("//mods:accessCondition/@xlink:href")
            if "rightsstatements.org" in uri or "creativecommons.org" in uri
        ]
        facts.append(("rights", sorted(set(uris))[:1], [row["rights"]["uri"]]))
    for name, stated, expected in facts:
        if [" ".join(text.split()) for text in stated] != [
            " ".join(each.split()) for each in expected
        ]:
            yield wrong(
                "delivered.described",
                item.record,
                f"The {name} is {', '.join(map(repr, stated)) or 'missing'}.",
                f"{', '.join(map(repr, expected)) or 'none'}, as embedded.json has it.",
            )
    yield from _named(item, record, row)
    for file in embedded["files"]:
        yield from _titled(item, file, row["title"])


def _named(item: BagItem, record: ParsedRecord, row: Any) -> Iterator[Finding]:
    """Yield names, subjects, places and the description of the catalogue's row that the record
    does not have, and the same of the presentation manifest's date and rights."""
    creators = [each["name"] for each in row.get("creators", [])]
    subjects = [each["term"] for each in row.get("subjects", [])]
    places = [each["name"] for each in row.get("places", [])]
    described = [row["description"]] if row.get("description") else []
    facts: list[tuple[str, list[str], set[str]]] = [
        ("MODS", creators, _texts(record, "//mods:mods/mods:name/mods:namePart")),
        ("Dublin Core", creators, _texts(record, "//dc:creator | //dc:contributor")),
        ("MODS", [*subjects, *places], _texts(record, "//mods:mods/mods:subject//*")),
        ("Dublin Core", subjects, _texts(record, "//dc:subject")),
        ("MODS", described, _texts(record, "//mods:mods/mods:abstract")),
    ]
    for where, wanted, has in facts:
        for text in wanted:
            if " ".join(text.split()) not in has:
                yield wrong(
                    "delivered.described_by",
                    item.record,
                    f"{where} does not have {text!r}, which embedded.json has.",
                    "the same in both.",
                )
    if item.has("manifest.json"):
        manifest = item.json("manifest.json")
        values = [
            text
            for pair in manifest.get("metadata", [])
            for texts in pair["value"].values()
            for text in texts
        ]
        rights = manifest.get("rights", row["rights"].get("uri"))
        date = " ".join(row["date_text"].split())
        shown = [" ".join(html.unescape(text).split()) for text in values]
        if (row["rights"].get("uri") and rights != row["rights"]["uri"]) or (
            date and date not in shown
        ):
            what = "It gives the item another date or other rights than embedded.json has."
            yield wrong("delivered.manifest_facts", item.path("manifest.json"), what, "the same.")


def _texts(record: ParsedRecord, expression: str) -> set[str]:
    return {" ".join((node.text or "").split()) for node in record.find(expression)}


def _titled(item: BagItem, file: Any, title: str) -> Iterator[Finding]:
    """Yield a JPEG whose embedded title is not that of the catalogue's row."""
    if file["use"] not in ("access", "thumb") or not item.has(file["path"]) or not title:
        return
    found = _seen(item, file["path"])
    if found is None or not found.xmp:
        return
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
    try:
        root = etree.fromstring(found.xmp, parser)
    except etree.XMLSyntaxError as problem:
        what = f"Its XMP packet is no XML: {problem}."
        yield wrong("delivered.xmp", item.path(file["path"]), what, "the packet as delivered.")
        return
    titles = [node.text or "" for node in root.iterfind(_DC_TITLE) if node.tag == _RDF_LI]
    if titles and titles[0] != title:
        what = f"Its embedded title is {titles[0]!r}."
        expected = f"{title!r}, as embedded.json has it."
        yield wrong("delivered.xmp_title", item.path(file["path"]), what, expected)


def _shown(item: BagItem) -> Iterator[Finding]:
    """Yield where sizes in the presentation manifest are not those of the tiles' info.json."""
    if not item.has("manifest.json"):
        return
    sizes = {}
    for frame in item.json("metadata/render.json")["frames"]:
        if frame["skipped"]:
            continue  # its number may be that of another frame's tiles, as of a superseded capture
        sizes[frame["width"], frame["height"]] = frame["iiif_id"]
        info = f"iiif/{frame['iiif_id']}/info.json"
        if item.has(info):
            stated = item.json(info)
            size = (stated["width"], stated["height"])
            if size != (frame["width"], frame["height"]):
                what = f"It gives the picture {size[0]} x {size[1]} px."
                expected = f"{frame['width']} x {frame['height']} px, as render.json has it."
                yield wrong("delivered.info", item.path(info), what, expected)
    for canvas in item.json("manifest.json").get("items", []):
        if (canvas["width"], canvas["height"]) not in sizes:
            yield wrong(
                "delivered.canvas",
                item.path("manifest.json"),
                f"A canvas of {canvas['width']} x {canvas['height']} px is no picture of the item.",
                f"one of {', '.join(f'{w} x {h}' for w, h in sorted(sizes))} px.",
            )
