"""The XMP packet of an access image (ISO 16684-1; XMP parts 2 and 3; IPTC Photo Metadata)."""

from __future__ import annotations

from lxml import etree

from glassine.embed.facts import Technical, Words, fraction
from glassine.embed.jpeg import MAX_XMP, extended_guid

NS = {
    "x": "adobe:ns:meta/",
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "xmpRights": "http://ns.adobe.com/xap/1.0/rights/",
    "xmpMM": "http://ns.adobe.com/xap/1.0/mm/",
    "stRef": "http://ns.adobe.com/xap/1.0/sType/ResourceRef#",
    "photoshop": "http://ns.adobe.com/photoshop/1.0/",
    "Iptc4xmpCore": "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/",
    "Iptc4xmpExt": "http://iptc.org/std/Iptc4xmpExt/2008-02-29/",
    "tiff": "http://ns.adobe.com/tiff/1.0/",
    "exif": "http://ns.adobe.com/exif/1.0/",
    "exifEX": "http://cipa.jp/exif/1.0/",
    "xmpNote": "http://ns.adobe.com/xmp/note/",
}
_LANG = "{http://www.w3.org/XML/1998/namespace}lang"
_BEGIN = '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'.encode()
_END = b'\n<?xpacket end="w"?>'
# Parts of a place shown (IPTC Photo Metadata, Location structure), from the widest on.
_LEVELS = ("CountryName", "ProvinceState", "City", "Sublocation")
DIGITAL_SOURCE = "http://cv.iptc.org/newscodes/digitalsourcetype/"


def name(prefixed: str) -> str:
    """Return `dc:title` as lxml wants it.

    >>> name("dc:title")
    '{http://purl.org/dc/elements/1.1/}title'
    """
    prefix, local = prefixed.split(":")
    return f"{{{NS[prefix]}}}{local}"


class _Properties:
    """The properties of one resource, added in order; what has no value is left out."""

    def __init__(self, parent: etree._Element) -> None:
        self.parent = parent

    def text(self, prefixed: str, value: str) -> None:
        if value:
            etree.SubElement(self.parent, name(prefixed)).text = value

    def language(self, prefixed: str, value: str) -> None:
        if value:
            array = self._array(prefixed, "Alt")
            line = etree.SubElement(array, name("rdf:li"))
            line.set(_LANG, "x-default")
            line.text = value

    def several(self, prefixed: str, kind: str, values: tuple[str, ...]) -> None:
        if values:
            array = self._array(prefixed, kind)
            for value in values:
                etree.SubElement(array, name("rdf:li")).text = value

    def structure(self, prefixed: str) -> _Properties:
        outer = etree.SubElement(self.parent, name(prefixed))
        outer.set(name("rdf:parseType"), "Resource")
        return _Properties(outer)

    def structures(self, prefixed: str, count: int) -> list[_Properties]:
        array = self._array(prefixed, "Bag") if count else None
        holders = []
        for _ in range(count):
            assert array is not None  # for the type checker
            line = etree.SubElement(array, name("rdf:li"))
            line.set(name("rdf:parseType"), "Resource")
            holders.append(_Properties(line))
        return holders

    def _array(self, prefixed: str, kind: str) -> etree._Element:
        return etree.SubElement(etree.SubElement(self.parent, name(prefixed)), name(f"rdf:{kind}"))


def _describe(description: _Properties, words: Words, date: str) -> None:
    description.language("dc:title", words.title)
    description.language("dc:description", words.description)
    description.several("dc:creator", "Seq", words.creators)
    description.several("dc:subject", "Bag", words.subjects)
    description.language("dc:rights", words.copyright_notice)
    description.text("dc:identifier", words.identifier)
    description.text("photoshop:Credit", words.credit)
    description.text("photoshop:Source", words.source)
    description.text("photoshop:DateCreated", date)
    description.text("photoshop:TransmissionReference", words.identifier)
    if words.marked is not None:
        description.text("xmpRights:Marked", "True" if words.marked else "False")
    description.text("xmpRights:WebStatement", words.web_statement)
    description.language("xmpRights:UsageTerms", words.usage_terms)
    if words.contact_url or words.contact_email:
        contact = description.structure("Iptc4xmpCore:CreatorContactInfo")
        contact.text("Iptc4xmpCore:CiUrlWork", words.contact_url)
        contact.text("Iptc4xmpCore:CiEmailWork", words.contact_email)
    description.text("Iptc4xmpCore:Location", words.places[0][0] if words.places else "")


def _work(description: _Properties, words: Words, date: str) -> None:
    """Describe the photograph itself, which the file reproduces, and where it shows."""
    for place, (text, uri), levels in zip(
        description.structures("Iptc4xmpExt:LocationShown", len(words.places)),
        words.places,
        words.place_levels or ((),) * len(words.places),
        strict=True,
    ):
        place.language("Iptc4xmpExt:LocationName", text)
        place.several("Iptc4xmpExt:LocationId", "Bag", (uri,) if uri else ())
        for field, level in zip(_LEVELS, levels, strict=False):
            place.text(f"Iptc4xmpExt:{field}", level)
    for holder, (term, uri) in zip(
        description.structures("Iptc4xmpExt:AboutCvTerm", len(words.about)),
        words.about,
        strict=True,
    ):
        holder.text("Iptc4xmpExt:CvTermId", uri)
        holder.language("Iptc4xmpExt:CvTermName", term)
    if not (words.title or words.creators or words.date_text):
        return
    (work,) = description.structures("Iptc4xmpExt:ArtworkOrObject", 1)
    work.language("Iptc4xmpExt:AOTitle", words.title)
    work.several("Iptc4xmpExt:AOCreator", "Seq", words.creators)
    if any(words.creator_uris):  # in the order of the creators, empty where one has none
        work.several("Iptc4xmpExt:AOCreatorId", "Seq", words.creator_uris)
    work.text("Iptc4xmpExt:AODateCreated", date)
    work.text("Iptc4xmpExt:AOCircaDateCreated", "" if date else words.date_text)
    work.text("Iptc4xmpExt:AOSource", words.source)
    work.text("Iptc4xmpExt:AOSourceInvNo", words.identifier)
    work.text("Iptc4xmpExt:AOCopyrightNotice", words.copyright_notice)


def _rational(value: float | None) -> str:
    if not value:
        return ""
    top, bottom = fraction(value)
    return f"{top}/{bottom}"


def _measured(description: _Properties, technical: Technical) -> None:
    description.text("tiff:ImageWidth", str(technical.width))
    description.text("tiff:ImageLength", str(technical.height))
    description.text("tiff:Orientation", "1")
    description.text("tiff:XResolution", _rational(technical.ppi))
    description.text("tiff:YResolution", _rational(technical.ppi))
    description.text("tiff:ResolutionUnit", "2" if technical.ppi else "")
    description.text("tiff:Make", technical.make)
    description.text("tiff:Model", technical.model)
    description.text("exif:ExifVersion", "0232")
    description.text("exif:PixelXDimension", str(technical.width))
    description.text("exif:PixelYDimension", str(technical.height))
    description.text("exif:ColorSpace", str(technical.colour_space))
    description.text("exif:ExposureTime", _rational(technical.exposure_s))
    description.text("exif:FNumber", _rational(technical.f_number))
    description.text("exif:FocalLength", _rational(technical.focal_mm))
    description.several(
        "exif:ISOSpeedRatings", "Seq", (str(technical.iso),) if technical.iso else ()
    )
    description.text("exif:DateTimeOriginal", _capture_time(technical))
    description.text("exif:ImageUniqueID", technical.document_id.replace("-", ""))
    description.text("exifEX:BodySerialNumber", technical.serial)
    description.text("exifEX:LensModel", technical.lens)


def _capture_time(technical: Technical) -> str:
    return technical.taken + technical.offset if technical.taken else ""


def _lineage(description: _Properties, technical: Technical) -> None:
    description.text("xmp:CreatorTool", technical.software)
    description.text("xmp:CreateDate", _capture_time(technical))
    description.text("dc:source", technical.master_name)
    description.text("xmpMM:DocumentID", f"uuid:{technical.document_id}")
    description.text("xmpMM:OriginalDocumentID", f"uuid:{technical.master_id}")
    description.text("xmpMM:InstanceID", f"sha256:{technical.pixels_sha256}")
    origin = description.structure("xmpMM:DerivedFrom")
    origin.text("stRef:documentID", f"uuid:{technical.master_id}")
    origin.text("stRef:instanceID", f"sha256:{technical.master_sha256}")
    origin.text("stRef:filePath", technical.master_name)
    description.text("Iptc4xmpExt:DigImageGUID", f"urn:uuid:{technical.document_id}")
    if technical.digital_source:
        description.text("Iptc4xmpExt:DigitalSourceType", DIGITAL_SOURCE + technical.digital_source)


def _description(properties: list[etree._Element]) -> bytes:
    root = etree.Element(name("x:xmpmeta"), nsmap={"x": NS["x"]})
    rdf = etree.SubElement(root, name("rdf:RDF"), nsmap={"rdf": NS["rdf"]})
    used = {key: uri for key, uri in NS.items() if key not in ("x", "rdf")}
    description = etree.SubElement(rdf, name("rdf:Description"), nsmap=used)
    description.set(name("rdf:about"), "")
    description.extend(properties)
    etree.indent(root, " ")
    etree.cleanup_namespaces(root)
    return etree.tostring(root, encoding="utf-8")


def whole(words: Words, technical: Technical) -> bytes:
    """Return the packet in one piece, for files that set no limit to it: the same bytes for the
    same facts."""
    return _BEGIN + _description(_properties(words, technical)) + _END


def packet(words: Words, technical: Technical) -> tuple[bytes, bytes | None]:
    """Return (the packet, its extended part or None): the same bytes for the same facts.

    What does not fit the 64 KB of one segment goes, greatest property first, into the
    extended part (XMP part 3, section 1.1.3.1). Nothing is shortened.
    """
    properties = _properties(words, technical)
    moved: list[etree._Element] = []
    main = _BEGIN + _description(properties) + _END
    while len(main) > MAX_XMP - 200 and len(properties) > 1:
        greatest = max(properties, key=lambda part: len(etree.tostring(part)))
        properties.remove(greatest)
        moved.append(greatest)
        main = _BEGIN + _description(properties) + _END
    if not moved:
        return main, None
    extended = _description(moved)
    note = etree.Element(name("xmpNote:HasExtendedXMP"))
    note.text = extended_guid(extended)
    return _BEGIN + _description([*properties, note]) + _END, extended


def _properties(words: Words, technical: Technical) -> list[etree._Element]:
    holder = etree.Element("properties")
    description = _Properties(holder)
    _describe(description, words, words.date_iso)
    _work(description, words, words.date_iso)
    _measured(description, technical)
    _lineage(description, technical)
    return list(holder)
