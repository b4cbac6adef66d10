"""`bandcurve batch` and its words."""
