"""A box of nominally equal bands: laid out as a folder, fitted together, its record."""
