"""Keys, tables, progress and prompts of a terminal."""
