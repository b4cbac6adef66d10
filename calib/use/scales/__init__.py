"""Scales and their checks: readings with known loads fitted, and what that says."""
