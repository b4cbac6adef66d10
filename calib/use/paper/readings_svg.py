"""Readings as they come, as an SVG: pull against length, loading as dots, unloading as rings."""

from calib.acquire.recording.entry_check import Judge
from calib.acquire.recording.state import Recording
from calib.units import LENGTH, force_of
from calib.use.paper.svg_plot import Plot, drawing

HEIGHT = 320
ROOM = 1.1  # above the largest reading


def readings_svg(state: Recording) -> str:
    """The drawing of a recording so far, in its own units; without anything a user wrote."""
    course, judge = state.course, Judge(state.run, state.course)
    tape, scale = LENGTH[course.length_unit], force_of(course.force_unit)
    read = [(row.length / tape, pull / scale, row.branch) for row in state.run.readings
            if row.length is not None and (pull := judge.pull(row)) is not None]  # fmt: skip
    lengths = [x for x, _, _ in read] + ([] if state.hung else [x / tape for x in course.settings])
    most = max((pull for _, pull, _ in read), default=0.0)
    low, high = min(lengths, default=0.0), max(lengths, default=1.0)
    plot = Plot(low, high, 0.0, ROOM * max(most, 1.0), course.length_unit, course.force_unit, HEIGHT)
    parts = [plot.axes()]
    for branch, mark in (("loading", "reading"), ("unloading", "ring")):
        places = sorted((x, pull) for x, pull, way in read if way == branch)
        if len(places) > 1:
            parts.append(plot.line(places, branch))
        for x, y in (plot.point(*place) for place in places):
            parts.append(f'<circle class="{mark}" cx="{x:.1f}" cy="{y:.1f}" r="6"/>')
    return drawing(parts, f"{len(read)} readings, up to {most:.1f} {course.force_unit}.", HEIGHT)
