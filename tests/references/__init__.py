"""Published numbers, each beside its source; the tolerance is the last printed digit."""
