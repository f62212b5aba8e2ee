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
        found = []
        for _ in range(count):
            assert array is not None  # for the type checker
            line = etree.SubElement(array, name("rdf:li"))
            line.set(name("rdf:parseType"), "Resource")
            found.append(_Properties(line))
        return found

    def _array(self, prefixed: str, kind: str) -> etree._Element:
        return etree.SubElement(etree.SubElement(self.parent, name(prefixed)), name(f"rdf:{kind}"))


def _describe(own: _Properties, words: Words, date: str) -> None:
    own.language("dc:title", words.title)
    own.language("dc:description", words.description)
    own.several("dc:creator", "Seq", words.creators)
    own.several("dc:subject", "Bag", words.subjects)
    own.language("dc:rights", words.copyright_notice)
    own.text("dc:identifier", words.identifier)
    own.text("photoshop:Credit", words.credit)
    own.text("photoshop:Source", words.source)
    own.text("photoshop:DateCreated", date)
    own.text("photoshop:TransmissionReference", words.identifier)
    if words.marked is not None:
        own.text("xmpRights:Marked", "True" if words.marked else "False")
    own.text("xmpRights:WebStatement", words.web_statement)
    own.language("xmpRights:UsageTerms", words.usage_terms)
    if words.contact_url or words.contact_email:
        contact = own.structure("Iptc4xmpCore:CreatorContactInfo")
        contact.text("Iptc4xmpCore:CiUrlWork", words.contact_url)
        contact.text("Iptc4xmpCore:CiEmailWork", words.contact_email)
    own.text("Iptc4xmpCore:Location", words.places[0][0] if words.places else "")


def _work(own: _Properties, words: Words, date: str) -> None:
    """Describe the photograph itself, which the file reproduces, and where it shows."""
    for place, (text, uri) in zip(
        own.structures("Iptc4xmpExt:LocationShown", len(words.places)), words.places, strict=True
    ):
        place.language("Iptc4xmpExt:LocationName", text)
        place.several("Iptc4xmpExt:LocationId", "Bag", (uri,) if uri else ())
    if not (words.title or words.creators or words.date_text):
        return
    (work,) = own.structures("Iptc4xmpExt:ArtworkOrObject", 1)
    work.language("Iptc4xmpExt:AOTitle", words.title)
    work.several("Iptc4xmpExt:AOCreator", "Seq", words.creators)
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


def _measured(own: _Properties, technical: Technical) -> None:
    own.text("tiff:ImageWidth", str(technical.width))
    own.text("tiff:ImageLength", str(technical.height))
    own.text("tiff:Orientation", "1")
    own.text("tiff:XResolution", _rational(technical.ppi))
    own.text("tiff:YResolution", _rational(technical.ppi))
    own.text("tiff:ResolutionUnit", "2" if technical.ppi else "")
    own.text("tiff:Make", technical.make)
    own.text("tiff:Model", technical.model)
    own.text("exif:ExifVersion", "0232")
    own.text("exif:PixelXDimension", str(technical.width))
    own.text("exif:PixelYDimension", str(technical.height))
    own.text("exif:ColorSpace", str(technical.colour_space))
    own.text("exif:ExposureTime", _rational(technical.exposure_s))
    own.text("exif:FNumber", _rational(technical.f_number))
    own.text("exif:FocalLength", _rational(technical.focal_mm))
    own.several("exif:ISOSpeedRatings", "Seq", (str(technical.iso),) if technical.iso else ())
    own.text("exif:DateTimeOriginal", _taken(technical))
    own.text("exif:ImageUniqueID", technical.document_id.replace("-", ""))
    own.text("exifEX:BodySerialNumber", technical.serial)
    own.text("exifEX:LensModel", technical.lens)


def _taken(technical: Technical) -> str:
    return technical.taken + technical.offset if technical.taken else ""


def _lineage(own: _Properties, technical: Technical) -> None:
    own.text("xmp:CreatorTool", technical.software)
    own.text("xmp:CreateDate", _taken(technical))
    own.text("dc:source", technical.master_name)
    own.text("xmpMM:DocumentID", f"uuid:{technical.document_id}")
    own.text("xmpMM:OriginalDocumentID", f"uuid:{technical.master_id}")
    own.text("xmpMM:InstanceID", f"sha256:{technical.pixels_sha256}")
    origin = own.structure("xmpMM:DerivedFrom")
    origin.text("stRef:documentID", f"uuid:{technical.master_id}")
    origin.text("stRef:instanceID", f"sha256:{technical.master_sha256}")
    origin.text("stRef:filePath", technical.master_name)
    own.text("Iptc4xmpExt:DigImageGUID", f"urn:uuid:{technical.document_id}")
    if technical.digital_source:
        own.text("Iptc4xmpExt:DigitalSourceType", DIGITAL_SOURCE + technical.digital_source)


def _description(properties: list[etree._Element]) -> bytes:
    root = etree.Element(name("x:xmpmeta"), nsmap={"x": NS["x"]})
    rdf = etree.SubElement(root, name("rdf:RDF"), nsmap={"rdf": NS["rdf"]})
    used = {key: uri for key, uri in NS.items() if key not in ("x", "rdf")}
    own = etree.SubElement(rdf, name("rdf:Description"), nsmap=used)
    own.set(name("rdf:about"), "")
    own.extend(properties)
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
    own = _Properties(holder)
    _describe(own, words, words.date_iso)
    _work(own, words, words.date_iso)
    _measured(own, technical)
    _lineage(own, technical)
    return list(holder)
