"""An adversary of the fit: rubber, gear and people made up apart from it, scored through files and the command line.

Nothing in here imports the fitter, and nothing was copied from it. What a run file means (where the tape lies, what
the scale was zeroed with, what an uncertainty is of) is taken from docs/formats.md and docs/measuring.md, as another
program would take it. `python -m tests.campaigns.adversary --help`.
"""
