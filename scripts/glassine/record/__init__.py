"""METS, PREMIS, MIX, MODS and the IIIF manifest of an item."""
