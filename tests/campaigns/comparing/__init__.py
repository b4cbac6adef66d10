"""Simulated bands measured again a year later: how often is one that did not change called changed, and vice versa?"""
