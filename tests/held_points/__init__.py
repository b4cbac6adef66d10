"""Held points on scripted stretches: what is captured, when, how right, and what is not."""
