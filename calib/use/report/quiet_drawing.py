"""Imported before the drawing library: what that says of its own cache, where no home is to be had, is no answer."""

import logging

logging.getLogger("matplotlib").setLevel(logging.ERROR)
