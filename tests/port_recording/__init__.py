"""Recordings at a load cell's line: a simulated bench with a person at it, in a time of its own."""
