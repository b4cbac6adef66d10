"""Points that take themselves: held ones, and those of a sweep."""
