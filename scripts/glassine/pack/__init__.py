"""An item's package in the layout that the repository wants."""
