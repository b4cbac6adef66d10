"""`bandcurve plan --until`: on paper, which readings should make the pull known well enough, or why none will."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from calib.acquire.recording.course import Course
    from calib.fit.curve.next_reading import PaperPlan
    from calib.records import Band, LengthSetup, Run, ScaleInUse
    from calib.use.answers.gear import PlanUntilAnswer


AIM_MOVED = 0.005  # of the middle of the working lengths: less is the tape's step


def run_to_plan(
    band: "Band", setup: "LengthSetup", scale: Path | None, course: "Course", until: dict[str, object]
) -> "Run":
    """A run without readings, as a recording would begin it."""
    from calib.acquire.recording.course import UNTIL, extensions_of
    from calib.records import Procedure, Run, RunHead
    from calib.stamp import here_and_now

    extensions = extensions_of(course) | {UNTIL: until}
    head = RunHead(
        band,
        setup,
        _scale(scale),
        Procedure(),
        started=here_and_now(),
        extensions=extensions,
    )
    return Run(band.id, head, ())


def _scale(path: Path | None) -> "ScaleInUse":
    from calib.records import ScaleInUse
    from calib.scale import load_scale
    from calib.units import G_STANDARD

    return load_scale(path).in_use() if path else ScaleInUse("scale", 0.05 * G_STANDARD)


def tell(run: "Run", course: "Course", word: Callable[[float], str], command: str, *, as_json: bool) -> None:
    """Work out the readings and print them.

    Args:
        run: From `run_to_plan`.
        course: The same.
        word: A length as the user reads it off.
        command: What to type to record it.
        as_json: One document instead of words.
    """
    from calib.acquire.recording.course import UNTIL
    from calib.fit.curve.next_reading import paper_plan
    from calib.use.ask.until import aim_of, half_path_words, hindered
    from calib.verbs.terminal.plain_text import wrap

    aim = aim_of(run, course)
    plan = paper_plan(run, aim)
    if as_json:
        from calib.verbs.terminal.answer import give

        give(_plan_answer(plan, aim.length, aim.relative, run.head.band.id), None, as_json=True)
        return
    over = run.head.extensions[UNTIL].get("over_m")
    if over and abs(0.5 * sum(over) - aim.length) > AIM_MOVED * aim.length:
        planned = f"{word(course.settings[0])} to {word(course.settings[-1])}"
        longer = "; --to plans longer ones" if aim.length < 0.5 * sum(over) else ""
        print(wrap(f"--over goes beyond the planned lengths ({planned}){longer}."))
    percent = 100 * aim.relative
    first, last = (half_path_words(x, course) for x in (aim.spots[0], aim.spots[-1]))
    print(f"To know the pull everywhere from {first.removesuffix(' (half-path)')} to {last} to {percent:g} %:")
    cycle, way = 0, ""
    for reading in plan.readings:
        if (reading.cycle, reading.branch) != (cycle, way):
            cycle, way = reading.cycle, reading.branch
            print(f"  cycle {cycle}, {'out' if way == 'loading' else 'back'}:")
        print(f"    {word(reading.length)}")
    if cycle > 1:
        print("Before each new cycle, unhook the band and hook it on again.")
    print(wrap(f"{len(plan.readings)} readings should give {100 * plan.relative:.1f} %{_or_not(plan, aim.relative)}."))
    if plan.best > aim.relative:
        print(wrap(hindered(plan.best, plan.hindrance)))
    if run.head.scale is not None and run.head.scale.id == "scale" and run.head.scale.correction is None:
        print(wrap("Assumed: a scale never checked, good to 1 %, in steps of 0.05 kg; --scale FILE knows better."))
    print("Next:")
    print(f"  {command}")


def _or_not(plan: "PaperPlan", wanted: float) -> str:
    """What is to be thought of a plan: whether it reaches what is wanted."""
    if plan.relative <= wanted:
        return "; record decides as the readings come in"
    if plan.best > wanted:
        return f", not {100 * wanted:g} %"
    return f"; {100 * wanted:g} % is so near the best this gear can do ({100 * plan.best:.1f} %) that it may not come"


def _plan_answer(plan: "PaperPlan", length: float, wanted: float, band: str) -> "PlanUntilAnswer":
    from calib.use.answers.gear import PlannedReading, PlanUntilAnswer

    return PlanUntilAnswer(
        band=band,
        length_m=round(length, 4),
        wanted_relative_u95=wanted,
        expected_relative_u95=round(plan.relative, 6),
        best_relative_u95=round(plan.best, 6),
        hindrance=plan.hindrance if plan.best > wanted else None,
        readings=tuple(PlannedReading(r.cycle, r.branch, r.length) for r in plan.readings),
    )
