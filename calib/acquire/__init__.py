"""Bytes and typed numbers in, a checked Run out."""
