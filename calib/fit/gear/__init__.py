"""Scales and known loads: checks, corrections, plain regression."""
