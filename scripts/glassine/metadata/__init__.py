"""What an access image says of itself: one set of facts, encoded as EXIF, XMP and IPTC-IIM."""
