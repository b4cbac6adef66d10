"""Readings chosen one by one until the wanted uncertainty is reached, against an evenly spaced plan."""
