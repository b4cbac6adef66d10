"""Start the command line: `bandcurve` and `python -m calib`."""

import os
import sys


def main() -> None:
    """Run the command line and leave with its exit status; Ctrl-C is 130 also while modules are still being loaded."""
    try:
        _check_streams()
        _main()
    except KeyboardInterrupt:
        print("\nbandcurve: interrupted", file=sys.stderr)
        sys.exit(130)
    except Exception as error:  # a defect: whoever meets it is told in one sentence, who mends it sees where
        if os.environ.get("BANDCURVE_TRACEBACK"):
            raise
        from calib.errors import fault
        from calib.verbs.door import harmless

        print(harmless(f"bandcurve: {fault(error)}; BANDCURVE_TRACEBACK=1 shows where"), file=sys.stderr)
        sys.exit(1)


def _check_streams() -> None:
    """An answer needs somewhere to go; without standard error, what is said there must not mix with the answer."""
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115 - lives as long as the program
    if sys.stdout is None:
        print("bandcurve: standard output: is closed; send it to a file or a terminal", file=sys.stderr)
        sys.exit(1)


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
        try:
            sys.stdout.write(text)
            sys.stdout.flush()
            return
        except OSError:  # a full disk or a closed pipe: the slow way says so
            pass
    from calib.verbs.app import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
