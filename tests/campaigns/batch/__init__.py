"""Simulated batches of bands, scored against the truth."""
