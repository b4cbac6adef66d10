"""Conversations at the terminal that lead a measurement."""
