"""How fast everything is, side by side in one run: `python -m tests.campaigns.speed --write docs/speed.md`."""
