"""All extremes of all numbers, where the suite takes some: `python -m tests.campaigns.extremes`."""

import os
import sys

import pytest

if __name__ == "__main__":
    os.environ["EXTREMES_STEP"] = "1"
    sys.exit(pytest.main(["tests/verbs/test_extremes.py", "-q", "-p", "no:cacheprovider"]))
