"""The overview of the command line: which commands there are and what each is for. Light: it loads nothing else."""

import os
from collections.abc import Sequence
from shutil import get_terminal_size
from typing import NamedTuple


class Entry(NamedTuple):
    """A command as the overview lists it."""

    module: str
    summary: str


COMMANDS: dict[str, Entry] = {
    "record": Entry("calib.verbs.record", "Measure a band with a scale and a tape, led step by step."),
    "plan": Entry("calib.verbs.plan", "Plan the lengths to measure; draw a form to fill in by pen."),
    "listen": Entry("calib.verbs.listen", "Show what a load cell on a serial line sends: port, speed, value."),
    "scale": Entry(
        "calib.verbs.scale.scale_group", "Store what is known about a scale, and check it with known loads."
    ),
    "import": Entry(
        "calib.verbs.import_table", "Turn a table (CSV or workbook) into runs, and say what the bands pull."
    ),
    "fit": Entry("calib.verbs.fit", "Fit the tension curve of one or more recorded runs."),
    "show": Entry("calib.verbs.show", "Show a profile or a run: table, small plot, figure file."),
    "predict": Entry("calib.verbs.predict", "Say what a band pulls at a length, or the length for a pull."),
    "batch": Entry(
        "calib.verbs.batch.batch_group", "Measure a box of bands together: a few in full, the others quickly."
    ),
    "pair": Entry("calib.verbs.pair", "Make left/right pairs that pull as nearly alike as possible."),
    "compare": Entry("calib.verbs.compare", "Say whether a band has changed between two calibrations."),
    "recheck": Entry("calib.verbs.bands.recheck", "Check a band in a minute with one known plate at one length."),
    "history": Entry(
        "calib.verbs.bands.history", "Show how a band drifted with time and use, and when to re-check it."
    ),
    "log": Entry("calib.verbs.bands.log", "Log a band's repetitions."),
    "retire": Entry("calib.verbs.bands.retire", "Retire a band, mark it as suspect, or set a calibration aside."),
    "rename": Entry("calib.verbs.bands.rename", "Give a band another name."),
    "merge": Entry("calib.verbs.bands.merge", "Decide whether files under one name belong to one band or two."),
    "undo": Entry("calib.verbs.bands.undo", "Undo the last note about a band."),
    "list": Entry("calib.verbs.bands.list_bands", "List the bands and scales of a folder, and what is due."),
    "rig": Entry("calib.verbs.rig.rig_group", "Say what bands put on a bar, left and right, up and down."),
    "lineup": Entry("calib.verbs.rig.lineup", "Plan a session: who uses which bands and plates, hung how."),
    "page": Entry("calib.verbs.page", "Measure and look things up on a page: browser, or a phone at the rack."),
    "report": Entry("calib.verbs.paper.report", "Put a whole collection on one HTML page, to send or print."),
    "sheet": Entry("calib.verbs.paper.sheet", "Put a band or a rig on one page for the wall."),
    "export": Entry("calib.verbs.export", "Write a profile's curve as a plain table."),
    "schema": Entry("calib.verbs.schema", "Print the JSON Schema of a file kind."),
    "explain": Entry("calib.verbs.paper.explain", "Explain a finding or a word; show the pages of the guide."),
    "demo": Entry("calib.verbs.demo", "Fit and draw an invented example in a new folder."),
}

_OVERVIEW = """\
Usage: bandcurve [OPTIONS] COMMAND [ARGS]...

  Measure the tension curve of elastic loop bands, with an uncertainty that holds.

  Examples:
    bandcurve record B07 --quick
    bandcurve demo
    bandcurve import readings.csv --id B07 --flat 1029mm
    bandcurve fit B07.run.csv --out profiles
    bandcurve predict profiles/B07.profile.json --length 1.6m

Options:
  --version             Print the version.
  --no-color            Plain text, as with NO_COLOR set.
  --no-input            Ask nothing: what an option does not say is an error.
  --install-completion  Let the shell complete commands, options and files.
  -h, --help            Show this message; after a COMMAND, its own.

Commands:
"""


def overview() -> str:
    """The text of `bandcurve --help`."""
    width = max(map(len, COMMANDS))
    columns = get_terminal_size().columns
    lines = [f"  {name:<{width}}  {entry.summary}" for name, entry in COMMANDS.items()]
    told = "".join(_within(line, columns) + "\n" for line in (_OVERVIEW.rstrip("\n").split("\n") + lines))
    folder = guide_folder()
    return f"{told}\nGuide: bandcurve explain, or\n  {_address(folder)}\n" if folder else told


def guide_folder() -> str | None:
    """Where the pages of the guide lie: inside an installed package, or beside it in a source tree."""
    package = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))  # noqa: PTH100, PTH120 - pathlib costs 10 ms
    places = os.path.join(package, "_docs"), os.path.join(os.path.dirname(package), "docs")  # noqa: PTH118, PTH120
    return next((p for p in places if os.path.isfile(os.path.join(p, "findings.md"))), None)  # noqa: PTH113, PTH118


def _address(folder: str) -> str:
    """A folder as a browser takes it."""
    return "file:///" + folder.replace(os.sep, "/").replace(" ", "%20").lstrip("/")


def _within(line: str, columns: int) -> str:
    """A line of the overview on a narrow terminal: broken at spaces, what follows stands under its text."""
    if len(line) <= columns:
        return line
    from textwrap import fill

    hanging = line.rfind("  ") + 2
    return fill(line, max(columns, hanging + 12), subsequent_indent=" " * hanging, break_on_hyphens=False)


def version_text() -> str:
    """The text of `bandcurve --version`."""
    from calib import __version__

    return f"bandcurve {__version__}\n"


def quick_answer(arguments: Sequence[str]) -> str | None:
    """What to print where only the overview or the version was asked for; None for everything else."""
    match list(arguments):
        case [] | ["--help"] | ["-h"] | ["help"]:
            return overview()
        case ["--version"]:
            return version_text()
        case _:
            return None
