"""Digests and header facts of each master."""
