"""Masters opened read-only: what a TIFF says of itself, its pixels, its colour, its labels."""
