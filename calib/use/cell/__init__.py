"""A load cell beside the computer as its user meets it: the line opened and understood, its troubles in words."""
