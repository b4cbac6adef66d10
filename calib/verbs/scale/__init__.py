"""`bandcurve scale` and its words."""
