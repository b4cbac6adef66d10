"""Start the command line: `bandcurve` and `python -m calib`."""

import os
import sys
from contextlib import suppress


def main() -> None:
    """Run the command line and leave with its exit status; Ctrl-C is 130 also while modules are still being loaded."""
    try:
        _main()
    except KeyboardInterrupt:
        print("\nbandcurve: interrupted", file=sys.stderr)
        sys.exit(130)


def _main() -> None:
    """Overview and version load no more than they need."""
    if "_BANDCURVE_COMPLETE" in os.environ:  # the shell asks what may come next, not a person
        from calib.verbs.app import run

        sys.exit(run(sys.argv[1:]))
    if not sys.argv[1:] and sys.stdin and sys.stdin.isatty() and sys.stderr.isatty():
        from calib.verbs.front_door import open_door

        sys.exit(open_door())
    from calib.verbs.overview import quick_answer

    text = quick_answer(sys.argv[1:])
    if text is not None:
        with suppress(OSError):  # a full disk or a closed pipe: the slow way says so
            sys.stdout.write(text)
            sys.stdout.flush()
            return
    from calib.verbs.app import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
