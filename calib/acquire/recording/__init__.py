"""A recording as it goes: events, entry checks, plan, state."""
