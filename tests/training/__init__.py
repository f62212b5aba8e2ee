"""What the learned map of a master (`glassine/locate/learned.py`) was trained with."""
