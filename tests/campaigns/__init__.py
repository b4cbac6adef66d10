"""Campaigns that score the whole product from outside, through its command line and its files."""
