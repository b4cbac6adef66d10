"""Bands of one box fitted together."""
