"""`bandcurve rig` and its words."""
