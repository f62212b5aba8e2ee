"""The catalogue's extract: one row an item, whatever the format."""
