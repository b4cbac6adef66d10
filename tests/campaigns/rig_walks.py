"""The five walks of docs/rig_walks.md, from tape measure to answer; `python -m tests.campaigns.rig_walks` writes it.

The bands are those of sample_runs/, invented. Every answer typed here goes through the real command.
"""

import contextlib
import io
import os
import shutil
import sys
import tempfile
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calib.verbs.app import run

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "rig_walks.md"
BANDS = ("KNEE", "THIN")


@dataclass(frozen=True)
class Walk:
    """One rig."""

    name: str
    title: str
    measured: str
    answers: str  # one a line, `<Enter>` for none
    read: str
    extra: tuple[str, ...] = ()
    place: tuple[str, ...] = ("--latitude", "52")


WALKS = (
    Walk(
        "press",
        "A standing press with straight bands",
        "Each band goes from a peg 10 cm above the floor straight up to the sleeve. Tape: the sleeve's "
        "centre is at 135 cm "
        "with the bar on the chest and at 190 cm overhead. The peg and the sleeve are 5 cm thick.",
        "1 n 20 n 90 120 40 135 190 <Enter> <Enter> 18 1 1 KNEE THIN 1 10 <Enter> <Enter> <Enter> <Enter> n",
        "At the chest the bands add a sixth to the load, overhead nearly a third. THIN is the weaker "
        "band: the left side "
        "pulls more than twice as hard, and the program says so. Two bands that match are for "
        "`bandcurve pair`.",
    ),
    Walk(
        "squat",
        "A squat choked on two pegs, heights by rack holes",
        "Each band is hitched round two pegs 8 cm apart in hole 1. The middle of hole 1 is 15 cm above "
        "the floor, holes are "
        "5 cm apart, and the bar on its hooks lies 5 cm above the middle of their hole: at the bottom "
        "of the lift it is as "
        "high as in hole 16, at the top a tape reads 142 cm. The bands hang 6 cm in front of the pegs "
        "at the bottom and "
        "2 cm at the top. With a pipe in its end, KNEE hangs 70 cm long in its hitch, THIN 69.5 cm. The "
        "rack with its "
        "plates weighs 330 kg on a base 120 cm wide.",
        "1 y 1 15 5 5 20 n 330 120 60 'hole 16' 142 'hole 25' <Enter> 18 3 1 KNEE THIN 1 'hole 1' "
        "2.5 <Enter> "
        "<Enter> 6..2 8 70 69.5 n",
        "A hitch takes up a third of the band, so it is stretched far more than a straight one would "
        "be. The limits are "
        "narrow because the slack length was measured: without it the same rig would be given 2.5 kg less "
        "at the bottom, with limits of 2.2 kg in place of 0.9 kg.",
    ),
    Walk(
        "bench",
        "A bench press with bands from above",
        "The bands hang from a bar at 230 cm, bolted to the building, and end on the bar inside the "
        "sleeves, where it is "
        "3 cm thick. Bar on the chest at 75 cm, arms out at 110 cm, hooks at 78 cm. The anchor is 5 cm "
        "in front of the "
        "bar at the bottom and right above it at the top.",
        "1 n 20 y 60 75 110 78 <Enter> 18 1 1 KNEE THIN 2 230 <Enter> 3 <Enter> 5..0 n",
        "The bands take most off at the bottom. Lifting follows their unloading branch, so less is taken off "
        "going up than coming "
        "down. The order of loading stands below the table; on 3 cm of bar a band wears.",
        place=(),
    ),
    Walk(
        "deadlift",
        "A deadlift with a folded band held down by dumb-bells",
        "Each band is folded round the handle of a dumb-bell, 4 cm thick and 8 cm above the floor, and "
        "both its ends go "
        "onto the sleeve. With the usual plates the sleeve is at 22.5 cm at the start and at 80 cm "
        "standing. The "
        "dumb-bells weigh 60 kg together and the heads stand 40 cm apart.",
        "1 n 20 n 60 40 100 22.5 80 <Enter> <Enter> 12 2 1 KNEE THIN 1 8 4 <Enter> <Enter> <Enter> n",
        "The bands are slack over the first half of the way. From slack to the shortest length that was "
        "measured there is "
        "only a guess, so the program refuses until it is asked for one with `--extrapolate`. The "
        "dumb-bells are lifted "
        "with two thirds of their weight: more of them, or a rack.",
        ("--extrapolate",),
    ),
    Walk(
        "across",
        "A band across under the feet",
        "KNEE lies under both feet, 30 cm of it, and goes up to the sleeves 25 cm outside of the feet's "
        "edges. The "
        "sleeve is at 50 cm at the bottom and at 85 cm at the top; shoe and band lie 2 cm above the floor.",
        "1 n 20 n <Enter> <Enter> 60 50 85 <Enter> <Enter> 12 5 KNEE 1 2 2 <Enter> 25 <Enter> 30 n",
        "The limits are very wide: under the feet a band may slip, so that all of it stretches, or be "
        "held, so that only "
        "the free legs do. A rig with pegs is known far better.",
    ),
)


def typed(answers: str) -> str:
    """The lines a coach types."""
    import shlex

    return "".join("\n" if word == "<Enter>" else f"{word}\n" for word in shlex.split(answers))


def printed(arguments: Sequence[str], answers: str = "") -> str:
    """What a command prints, its answers piped; it has to end well."""
    out, stdin = io.StringIO(), sys.stdin
    sys.stdin = io.StringIO(answers)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()) as said:
            status = run(list(arguments))
    finally:
        sys.stdin = stdin
    assert status == 0, said.getvalue()
    return out.getvalue()


def page() -> str:
    """The whole page, made in a folder of its own."""
    here = Path.cwd()
    with tempfile.TemporaryDirectory() as folder:
        for band in BANDS:
            shutil.copy(ROOT / "sample_runs" / f"{band}.profile.json", folder)
        os.chdir(folder)
        try:
            walks = [_walk(walk) for walk in WALKS]
        finally:
            os.chdir(here)
    return HEAD + "\n".join(walks)


HEAD = """# Five rigs, from a tape measure to the answer

Each walk: what was measured, what was typed into `bandcurve rig new`, and what `bandcurve rig` prints, in kg and in lb.
The bands KNEE and THIN are those of sample_runs/, invented; they do not match, so the sides are unequal. In a list of
answers `<Enter>` is an empty line. `python -m tests.campaigns.rig_walks` makes this page again; a test compares it.

"""


def _walk(walk: Walk) -> str:
    printed(["rig", "new", walk.name, *walk.place], typed(walk.answers))
    asked = ["rig", f"{walk.name}.rig.toml", *walk.extra, "--full"]
    kg, lb = printed(asked).strip(), printed([*asked, "--unit", "lb"])
    table = lb[lb.index("Going up") : lb.index("All in lb")].strip()
    paragraphs = [textwrap.fill(text, 118) for text in (walk.measured, walk.read)]
    answers = textwrap.fill(walk.answers, 100, break_on_hyphens=False)
    command, new = (" ".join(["bandcurve", *words]) for words in (asked, ["rig", "new", walk.name, *walk.place]))
    return (
        f"## {walk.title}\n\n{paragraphs[0]}\n\n`{new}` and these answers, one a line:\n\n"
        f"```\n{answers}\n```\n\n`{command}` prints:\n\n```\n{kg}\n```\n\n"
        f"and with `--unit lb`:\n\n```\n{table}\n```\n\n"
        f"{paragraphs[1]}\n"
    )


def main() -> None:
    """Write the page."""
    os.environ["COLUMNS"] = "100"
    PAGE.write_text(page(), "utf-8")


if __name__ == "__main__":
    main()
