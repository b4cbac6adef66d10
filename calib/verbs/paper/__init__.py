"""Commands that make something to hand on, to hang up or to read."""
