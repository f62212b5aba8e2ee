"""The published tree: files laid out as the addresses in the IIIF manifests name them."""
