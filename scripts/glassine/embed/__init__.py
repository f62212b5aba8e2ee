"""EXIF, XMP and IPTC spliced into the pictures; pixels untouched."""
