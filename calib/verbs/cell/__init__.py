"""The terminal at a load cell's line."""
