"""All extremes of all numbers, where the suite takes some: `python -m tests.extremes`."""

import os
import sys

import pytest

os.environ["EXTREMES_STEP"] = "1"
sys.exit(pytest.main(["tests/extremes", "-q", "-p", "no:cacheprovider"]))
