"""A load cell at this computer, on the page: chosen, gone along with, checked."""
