"""The roof: one file a command; options, prompts and words. Nothing imports this folder."""
