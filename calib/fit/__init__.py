"""A Run in, a TensionCurve with factors and findings out."""
