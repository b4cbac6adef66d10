"""Simulated boxes of bands: are the pairs the best there are, and do the limits of the chosen pairs hold?"""
