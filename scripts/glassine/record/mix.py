"""NISO MIX 2.0 (ANSI/NISO Z39.87) of masters and derivatives.

Every element of the schema is optional, so what must be there is said here and in the
project's own profile (records/profile.rng).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import NamedTuple
from urllib.parse import quote

from msgspec import UNSET

from glassine.base import alternates, parts, vocabulary
from glassine.base.markup import Element, add, add_known, element
from glassine.base.model import MasterGeometry
from glassine.base.records.fixity import VerifiedMaster
from glassine.base.records.parts import Event, Header
from glassine.base.records.render import Alternate, RenderedFrame
from glassine.record import capture_time
from glassine.record.item_records import FileEntry, ItemRecords
from glassine.record.targets import Target

VERSION = "2.0"
MM_PER_INCH = 25.4
# The profiles that derivatives carry, by bands, under the names in their description tags.
OUTPUT_PROFILES = {3: "sRGB", 1: "Grey, sRGB curve"}
# MIX 2.0 knows these versions of EXIF alone.
_EXIF_VERSIONS = ("0220", "0221", "0230")


def _rational(parent: Element, tag: str, value: float) -> None:
    """Add numerator and denominator; a resolution to the hundredth is more than is known."""
    exact = Fraction(round(value * 100), 100)
    holder = add(parent, tag)
    add(holder, "mix:numerator", exact.numerator)
    add(holder, "mix:denominator", exact.denominator)


def _decimal(value: float) -> str:
    """Return a number without exponent, as xs:decimal wants it."""
    text = f"{value:.9f}".rstrip("0").rstrip(".")
    return text or "0"


def _object(root: Element, entry: FileEntry, item: str, byte_order: str, compression: str) -> None:
    basic = add(root, "mix:BasicDigitalObjectInformation")
    identifier = add(basic, "mix:ObjectIdentifier")
    add(identifier, "mix:objectIdentifierType", "local")
    add(identifier, "mix:objectIdentifierValue", f"{item}/{entry.path}")
    add(basic, "mix:fileSize", entry.bytes)
    designation = add(basic, "mix:FormatDesignation")
    add(designation, "mix:formatName", entry.format[0])
    add_known(designation, "mix:formatVersion", entry.format[1])
    if entry.format[2]:
        registry = add(basic, "mix:FormatRegistry")
        add(registry, "mix:formatRegistryName", vocabulary.PRONOM)
        add(registry, "mix:formatRegistryKey", entry.format[2])
    add(basic, "mix:byteOrder", byte_order)
    add(add(basic, "mix:Compression"), "mix:compressionScheme", compression)
    for algorithm, digest in sorted(entry.digests.items()):
        fixity = add(basic, "mix:Fixity")
        add(fixity, "mix:messageDigestAlgorithm", vocabulary.DIGEST_NAMES[algorithm])
        add(fixity, "mix:messageDigest", digest)


def _image(root: Element, width: int, height: int, space: str, profile: str | None) -> None:
    holder = add(
        add(root, "mix:BasicImageInformation"),
        "mix:BasicImageCharacteristics",
    )
    add(holder, "mix:imageWidth", width)
    add(holder, "mix:imageHeight", height)
    photometric = add(holder, "mix:PhotometricInterpretation")
    add(photometric, "mix:colorSpace", space)
    if profile:
        named = add(add(photometric, "mix:ColorProfile"), "mix:IccProfile")
        add(named, "mix:iccProfileName", profile)


def _spatial(root: Element, ppi: float | None, bits: list[int]) -> Element:
    """Add resolution in the plane of the film, and bits of each sample."""
    assessment = add(root, "mix:ImageAssessmentMetadata")
    metrics = add(assessment, "mix:SpatialMetrics")
    if ppi:
        add(metrics, "mix:samplingFrequencyPlane", "object plane")
        add(metrics, "mix:samplingFrequencyUnit", "in.")
        _rational(metrics, "mix:xSamplingFrequency", ppi)
        _rational(metrics, "mix:ySamplingFrequency", ppi)
    else:
        add(metrics, "mix:samplingFrequencyUnit", "no absolute unit of measurement")
    encoding = add(assessment, "mix:ImageColorEncoding")
    holder = add(encoding, "mix:BitsPerSample")
    for value in bits:
        add(holder, "mix:bitsPerSampleValue", value)
    add(holder, "mix:bitsPerSampleUnit", "integer")
    add(encoding, "mix:samplesPerPixel", len(bits))
    return assessment


def master(records: ItemRecords, entry: FileEntry, verified: VerifiedMaster) -> Element:
    """Return MIX of a master. verified: its entry in fixity.json."""
    header = verified.header
    located = records.located(verified.path)
    root = element("mix:mix")
    _object(root, entry, records.item, header.byte_order, header.compression)
    space = {"rgb": "RGB", "grey": "BlackIsZero", "raw": "CFA"}[header.colour]
    _image(root, header.width, header.height, space, header.icc_name)
    capture = add(root, "mix:ImageCaptureMetadata")
    _source(capture, records, verified, located)
    _general(capture, records, verified)
    _camera(capture, records, header)
    add(capture, "mix:orientation", vocabulary.ORIENTATIONS[header.orientation])
    assessment = _spatial(root, located.ppi if located else None, header.bits)
    _targets(assessment, records.captures)
    return root


def raw(records: ItemRecords, verified: VerifiedMaster) -> Element:
    """Return MIX of a raw file that a master was developed from. verified: as verify saw it."""
    header = verified.header
    root = element("mix:mix")
    entry = records.recorded[f"raw/{verified.path}"]
    _object(root, entry, records.item, header.byte_order, header.compression)
    pattern = header.raw.pattern if header.raw is not UNSET else None
    space = "CFA" if pattern else "LinearRaw"  # TIFF/EP 32803, DNG 34892
    _image(root, header.width, header.height, space, None)
    capture = add(root, "mix:ImageCaptureMetadata")
    _source(capture, records, verified, None)
    _general(capture, records, verified)
    _camera(capture, records, header)
    add(capture, "mix:orientation", vocabulary.ORIENTATIONS[header.orientation])
    _spatial(root, None, header.bits)
    return root


def _source(
    capture: Element, records: ItemRecords, verified: VerifiedMaster, located: MasterGeometry | None
) -> None:
    source = add(capture, "mix:SourceInformation")
    add(source, "mix:sourceType", _source_type(records, located, verified.part))
    identifier = add(source, "mix:SourceID")
    add(identifier, "mix:sourceIDType", "local")
    add(identifier, "mix:sourceIDValue", records.item)
    if verified.part:
        identifier = add(source, "mix:SourceID")
        add(identifier, "mix:sourceIDType", "part")
        add(identifier, "mix:sourceIDValue", verified.part)
    size = _source_size_mm(located) if located else None
    if size:
        holder = add(source, "mix:SourceSize")
        for axis, value in zip("XY", size, strict=True):
            side = add(holder, f"mix:Source{axis}Dimension")
            lower = f"mix:source{axis}Dimension"
            add(side, f"{lower}Value", _decimal(round(value, 2)))
            add(side, f"{lower}Unit", "mm")


# What batch.yaml or locate calls the piece, in words for readers elsewhere.
_KINDS = {
    "frame_135": "35 mm film frame",
    "mounted_slide": "mounted 35 mm slide",
    "sheet": "sheet film",
    "plate": "glass plate",
    "lantern": "lantern slide",
    "strip_135": "35 mm film strip",
    "strip_120": "120 film strip",
    "cut_frames": "cut film frames",
    "print": "photographic print",
}


def _source_type(records: ItemRecords, located: MasterGeometry | None, part: str | None) -> str:
    if part is not None and parts.is_paper(part):  # what is known of the film is not of its paper
        return _KINDS["print"] if part.casefold() == "print" else part
    kind = _KINDS.get(located.kind if located else "", "photograph")
    polarities = sorted({frame.polarity for frame in located.frames} if located else ())
    material = vocabulary.MATERIAL_FORMS.get(records.row.material)
    words = (kind, material, " and ".join(polarities))
    return ", ".join(word for word in words if word)


def _source_size_mm(located: MasterGeometry) -> tuple[float, float] | None:
    """Return width and height of the piece: its outline where seen, else its only frame."""
    ppi, frames = located.ppi, located.frames
    outline = located.object_corners or (frames[0].corners if len(frames) == 1 else None)
    if not ppi or not outline:
        return None
    top_left, top_right, _, bottom_left = outline
    return (
        math.dist(top_left, top_right) / ppi * MM_PER_INCH,
        math.dist(top_left, bottom_left) / ppi * MM_PER_INCH,
    )


def _general(capture: Element, records: ItemRecords, verified: VerifiedMaster) -> None:
    general = add(capture, "mix:GeneralCaptureInformation")
    when = capture_time.taken(verified.header)
    if when:
        add(general, "mix:dateTimeCreated", when)
    add_known(general, "mix:imageProducer", records.institution.name)
    add_known(general, "mix:imageProducer", records.operator(verified.path))
    add(general, "mix:captureDevice", "digital still camera")


def _camera(capture: Element, records: ItemRecords, header: Header) -> None:
    camera_facts = header.capture
    camera = add(capture, "mix:DigitalCameraCapture")
    add(camera, "mix:digitalCameraManufacturer", camera_facts.make or "unknown")
    model = add(camera, "mix:DigitalCameraModel")
    add(model, "mix:digitalCameraModelName", camera_facts.model or "unknown")
    add_known(model, "mix:digitalCameraModelSerialNo", camera_facts.serial)
    add(camera, "mix:cameraSensor", records.given.settings.records.camera_sensor)
    image = element("mix:ImageData")
    if camera_facts.f_number:
        add(image, "mix:fNumber", _decimal(camera_facts.f_number))
    if camera_facts.exposure_s:
        add(image, "mix:exposureTime", _decimal(camera_facts.exposure_s))
    if camera_facts.iso:
        add(image, "mix:isoSpeedRatings", int(camera_facts.iso))
    if camera_facts.exif_version in _EXIF_VERSIONS:
        add(image, "mix:exifVersion", camera_facts.exif_version)
    if camera_facts.focal_mm:
        add(image, "mix:focalLength", _decimal(camera_facts.focal_mm))
    if len(image):
        add(camera, "mix:CameraCaptureSettings").append(image)


def _targets(assessment: Element, captures: tuple[Target, ...]) -> None:
    """Add the captures of test targets of this batch, and where their measures stand."""
    if not captures:
        return
    holder = add(assessment, "mix:TargetData")
    for _ in captures:
        add(holder, "mix:targetType", "external")
    for target in captures:
        identity = add(holder, "mix:TargetID")
        add(identity, "mix:targetName", target.identity.name or target.target)
        if target.identity.number:
            add(identity, "mix:targetNo", target.identity.number)
    for target in captures:
        add(holder, "mix:externalTarget", quote(target.path, safe="/:"))
    add(holder, "mix:performanceData", "metadata/targets.json")


# TIFF 6.0 section 22 and Technical Notes 2 and 3: compressions of our own TIFFs, as MIX says them.
_COMPRESSIONS = {1: "uncompressed", 7: "JPEG", 8: "deflate"}


@dataclass(frozen=True)
class Coded:
    """How a derivative holds its picture, and what was done to that end.

    bits: one number a sample; profile: None where it has none; toned: False where the samples are
    the master's own; texts: whether metadata was embedded.
    """

    byte_order: str
    compression: str
    bits: list[int]
    space: str
    profile: str | None
    actions: tuple[str, ...]
    why: str = "picture for access"
    toned: bool = True
    texts: bool = True


def coded(records: ItemRecords, entry: FileEntry, frame: RenderedFrame, bands: int) -> Coded:
    """Return how a derivative is coded. bands: of the frame as rendered."""
    how = _coded(records, entry, frame, bands)
    caption = entry.made.caption if entry.made else UNSET
    if caption is UNSET:
        return how
    added = f"caption added {caption.place} the picture ({caption.rows} rows)"
    return replace(how, actions=(*how.actions[:-1], added, how.actions[-1]))


def _coded(records: ItemRecords, entry: FileEntry, frame: RenderedFrame, bands: int) -> Coded:
    if entry.made and (entry.made.tone is not UNSET or entry.made.space is not UNSET):
        return _of_set(entry, entry.made, frame, bands)
    bits, profile = [8] * bands, OUTPUT_PROFILES[bands]
    space = "sRGB" if bands == 3 else "BlackIsZero"
    if entry.kind in (None, "jpeg"):
        actions: tuple[str, ...] = ("reduced in size", "encoded as JPEG")
        return Coded("big endian", "JPEG", bits, space, profile, actions)
    if entry.kind == alternates.UNINVERTED:
        return _uninverted(records, frame)
    if entry.kind in ("webp", "avif", "jp2"):
        if entry.kind == "jp2":
            done = ("reduced in size", "encoded as JPEG 2000")
            return Coded("big endian", "JPEG 2000", bits, space, profile, done, texts=False)
        return _web(entry.kind, OUTPUT_PROFILES[3] if bands == 3 else None)
    assert entry.coding is not None  # `item_records.gather` read it
    order, bits = entry.coding.byte_order, list(entry.coding.bits)
    compression = _COMPRESSIONS.get(entry.coding.compression, str(entry.coding.compression))
    if entry.kind == "pyramid":
        actions = ("encoded as pyramidal tiled TIFF",)
        why = "picture for an image server"
        return Coded(order, compression, bits, space, profile, actions, why)
    actions, why = (f"encoded as TIFF of {bits[0]} bits",), "picture for further work"
    if entry.kind in alternates.SPACES:
        from glassine.masters import spaces  # only where such a picture is made

        grey = len(bits) == 1
        title = spaces.grey_title(entry.kind) if grey else spaces.SPACES[entry.kind].title
        space = "BlackIsZero" if grey else "RGB"
        return Coded(order, compression, bits, space, title, actions, why)
    if entry.kind == "tiff" or not captured(records):
        return Coded(order, compression, bits, space, profile, actions, why)
    space = "RGB" if len(bits) == 3 else "BlackIsZero"
    own_profile = _icc_name(records, frame)
    return Coded(order, compression, bits, space, own_profile, actions, why, toned=False)


def _of_set(entry: FileEntry, made: Alternate, frame: RenderedFrame, bands: int) -> Coded:
    """Return how a JPEG or TIFF of a set is coded that has a tone or space of its own. bands: of
    the frame as rendered."""
    uninverted = made.tone is not UNSET or entry.kind == alternates.UNINVERTED
    if uninverted and frame.tone:
        bands = frame.tone.master_bands
    name = made.use if made.use in alternates.SPACES else made.space
    bands = 1 if name == "grey" else bands
    space, profile = _space(name if name is not UNSET else "srgb", bands)
    why = "picture of the negative itself" if uninverted else "picture for access"
    start = ("converted to the output profile, not inverted",) if uninverted else ()
    if entry.coding is None:
        jpeg = (*start, "reduced in size", "encoded as JPEG")
        bits = [8] * bands
        return Coded("big endian", "JPEG", bits, space, profile, jpeg, why, toned=not uninverted)
    coding = entry.coding
    compression = _COMPRESSIONS.get(coding.compression, str(coding.compression))
    bits = list(coding.bits)
    tiff = (*start, f"encoded as TIFF of {bits[0]} bits")
    why = why if uninverted else "picture for further work"
    return Coded(
        coding.byte_order, compression, bits, space, profile, tiff, why, toned=not uninverted
    )


def _space(name: str, bands: int) -> tuple[str, str]:
    """Return what MIX calls a colour space, and the title of its profile."""
    if name not in alternates.SPACES:
        return "sRGB" if bands == 3 else "BlackIsZero", OUTPUT_PROFILES[bands]
    from glassine.masters import spaces  # only where such a picture is made

    if bands == 1:
        return "BlackIsZero", spaces.grey_title(name)
    return "RGB", spaces.SPACES[name].title


def _uninverted(records: ItemRecords, frame: RenderedFrame) -> Coded:
    """Return how the negative as captured is coded, in as many bands as its master has."""
    bands = frame.tone.master_bands if frame.tone else 3
    space = "sRGB" if bands == 3 else "BlackIsZero"
    actions = ("converted to sRGB, not inverted", "reduced in size", "encoded as JPEG")
    why = "picture of the negative itself"
    return Coded(
        "big endian", "JPEG", [8] * bands, space, OUTPUT_PROFILES[bands], actions, why, toned=False
    )


def _web(kind: str, profile: str | None) -> Coded:
    """Return how WebP (RFC 9649: little endian; lossy is a key frame of RFC 6386) and AVIF
    (ISO/IEC 14496-12, section 4.2: big endian) are coded: in three bands, grey too. JP2 (ISO/IEC
    15444-1, section I.4: big endian) has the bands of the picture."""
    if kind == "webp":
        actions = ("reduced in size", "encoded as WebP")
        return Coded("little endian", "VP8", [8] * 3, "sRGB", profile, actions)
    actions = ("reduced in size", "encoded as AVIF")
    return Coded("big endian", "AV1", [8] * 3, "sRGB", profile, actions, texts=False)


def captured(records: ItemRecords) -> bool:
    """Return whether crops hold the master's own samples (`render.crop_tiff: captured`)."""
    settings = records.render.event.detail.get("settings") or {}
    return bool((settings.get("render") or {}).get("crop_tiff") == "captured")


def _icc_name(records: ItemRecords, frame: RenderedFrame) -> str | None:
    return next(
        master.header.icc_name for master in records.fixity.masters if master.path == frame.master
    )


def derivative(
    records: ItemRecords, entry: FileEntry, frame: RenderedFrame, size: tuple[int, int], how: Coded
) -> Element:
    """Return MIX of a derivative. frame: its entry in render.json; size: width, height in px."""
    root = element("mix:mix")
    _object(root, entry, records.item, how.byte_order, how.compression)
    _image(root, size[0], size[1], how.space, how.profile)
    capture = add(root, "mix:ImageCaptureMetadata")
    source = add(capture, "mix:SourceInformation")
    add(source, "mix:sourceType", "digital master")
    identifier = add(source, "mix:SourceID")
    add(identifier, "mix:sourceIDType", "local")
    add(identifier, "mix:sourceIDValue", f"{records.item}/masters/{frame.master}")
    general = add(capture, "mix:GeneralCaptureInformation")
    add(general, "mix:dateTimeCreated", entry.created)
    add_known(general, "mix:imageProducer", records.institution.name)
    add(capture, "mix:orientation", vocabulary.ORIENTATIONS[1])
    ppi, width = frame.ppi, _width_at_full_size(frame, entry)
    _spatial(root, ppi * size[0] / width if ppi and width else None, how.bits)
    changes = add(root, "mix:ChangeHistory")
    for processing in _processing(records, frame, how):
        _change(changes, records, frame, processing)
    return root


def _width_at_full_size(frame: RenderedFrame, entry: FileEntry) -> int | None:
    """Return how wide the picture is that a derivative was reduced from, px."""
    name = entry.path.rpartition("/")[2]
    for each in frame.alternates:
        if each.name == name and each.of_width is not UNSET:
            return each.of_width
    return frame.width


class _Processing(NamedTuple):
    """What was done to a picture in one go. event: of the step; why: the rationale."""

    event: Event
    actions: list[str]
    why: str


def _processing(records: ItemRecords, frame: RenderedFrame, how: Coded) -> list[_Processing]:
    located = records.located_frame(frame)
    actions = [f"cropped to frame {frame.index}"]
    actions.append(f"straightened by {located.angle_deg if located else 0.0:.3f}°")
    if located and located.rotate:
        actions.append(f"rotated {located.rotate}° clockwise")
    if located and located.mirror:
        actions.append("mirrored left to right")
    if how.toned and located and located.polarity == "negative":
        actions.append("inverted from negative")
    if how.toned:
        actions.append("converted to the output profile")
    pictured = _Processing(records.render.event, [*actions, *how.actions], how.why)
    if not how.texts:
        return [pictured]
    texts = ["metadata embedded"]
    return [
        pictured,
        _Processing(records.embedded.event, texts, "picture that tells what it is"),
    ]


def _change(
    changes: Element, records: ItemRecords, frame: RenderedFrame, processing: _Processing
) -> None:
    step = add(changes, "mix:ImageProcessing")
    add(step, "mix:dateTimeProcessed", processing.event.time)
    add(step, "mix:sourceData", f"{records.item}/masters/{frame.master}")
    add_known(step, "mix:processingAgency", records.institution.name)
    add(step, "mix:processingRationale", processing.why)
    for name, version in sorted(processing.event.software.items()):
        software = add(step, "mix:ProcessingSoftware")
        add(software, "mix:processingSoftwareName", name)
        add(software, "mix:processingSoftwareVersion", version)
    for action in processing.actions:
        add(step, "mix:processingActions", action)
