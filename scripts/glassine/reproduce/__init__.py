"""A delivery's pictures made again and compared."""
