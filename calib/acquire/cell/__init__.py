"""A load cell's line: bytes to readings, readings to held points."""
