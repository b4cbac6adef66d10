"""Simulated bands and gear whose laws are not the fitter's, and a campaign that scores its claims against the truth."""
