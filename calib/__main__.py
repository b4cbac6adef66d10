"""Start the command line: `bandcurve` and `python -m calib`."""

import sys


def main() -> None:
    """Run the command line and leave with its exit status."""
    from calib.verbs.app import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
