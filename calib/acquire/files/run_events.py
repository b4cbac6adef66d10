"""What happened beside readings: typed rows of version 2, and how version 1 wrote them in a row's note. No file here.

In version 1 a strike named its row, and a gap said what it was, by how the note began; so a person's remark that began
alike changed the fit. In version 2 the kind of a row says what it is and the column `about` what it is about:

    strike     the number of the row that is struck out      skipped   the kind of what was not taken
    planned    the lengths of a new plan, m                  left-out  a length not measured in this recording
    chosen     the next reading: cycle, branch, length       enough    no more readings are asked for
    zero-lost  zeros before it say nothing of what follows   note      a remark; like every note it changes nothing
    reading    about "kept": insisted on when questioned     zero      about "between": fills no place of the plan
    any of these about "for 7": stands in the place of row 7, which was changed and is struck behind it

Version 1 is read for ever: here its notes become typed rows, and rows added to such a file are written its way.
"""

import re
from dataclasses import replace

from calib.records import BranchName, Row

KINDS_1 = ("reading", "zero", "flat", "check-load", "gap", "strike")
BETWEEN, KEPT = "between", "kept"
INSTEAD = "for "  # and the number of the row whose place it takes
_KEPT_1 = "kept when questioned"
_INSTEAD_1 = re.compile(r"in the place of row ([0-9]{1,9})")
_STRIKE = re.compile(r"row ([0-9]{1,9})(?::\s*(.*)|$)", re.DOTALL)
_CHOSEN = re.compile(r"next: ([1-9][0-9]{0,2}) (loading|unloading) ([0-9]{1,5}(?:\.[0-9]{1,9})?)", re.ASCII)
_PLANNED = re.compile(r"plan from here \[m\]: ((?:[0-9.e+-]+ ?)+)", re.ASCII)
_SKIPPED = re.compile(r"skipped (reading|zero|check-load|flat)(?::\s*(.*)|$)", re.DOTALL)
_BEGUN = (
    ("zero-lost", re.compile(r"zero lost(?:\s*[:;,.(-]\s*(.*)|$)", re.DOTALL)),
    ("enough", re.compile(r"enough(?::\s*(.*)|$)", re.DOTALL)),
    ("left-out", re.compile(r"left out(?::\s*(.*)|$)", re.DOTALL)),
    ("note", re.compile(r"note:\s*(.*)", re.DOTALL)),
)


def from_version_1(row: Row, *, hung: bool) -> Row:
    """A row of version 1 as a typed one; a gap whose note is a person's own stays a gap.

    Args:
        row: As version 1 has it.
        hung: Whether loads are set and lengths are read.
    """
    if row.kind == "strike":
        found = _STRIKE.match(row.note)
        return replace(row, about=found[1], note=(found[2] or "").strip()) if found else row
    if row.kind == "zero" and row.note == BETWEEN:
        return replace(row, about=BETWEEN, note="")
    if row.kind == "gap":
        return _typed_gap(row, hung=hung)
    if found := _INSTEAD_1.fullmatch(row.note):
        return replace(row, about=f"{INSTEAD}{found[1]}", note="")
    if _KEPT_1 in row.note:
        left = [part for part in row.note.split("; ") if part != _KEPT_1]
        return replace(row, about=KEPT, note="; ".join(left))
    return row


def _typed_gap(row: Row, *, hung: bool) -> Row:
    if found := _CHOSEN.fullmatch(row.note):
        setting = float(found[3])
        branch: BranchName = "unloading" if found[2] == "unloading" else "loading"
        taken = replace(row, kind="chosen", cycle=int(found[1]), branch=branch, note="")
        return replace(taken, mass=setting) if hung else replace(taken, length=setting)
    if row.note.startswith("next: "):  # asks for nothing that can be taken; said when the recording is taken up again
        return replace(row, kind="chosen", length=None, mass=None)
    if found := _PLANNED.fullmatch(row.note):
        return replace(row, kind="planned", about=found[1].strip(), note="")
    if found := _SKIPPED.match(row.note):
        return replace(row, kind="skipped", about=found[1], note=(found[2] or "").strip())
    for kind, begins in _BEGUN:
        if found := begins.match(row.note):
            return replace(row, kind=kind, note=(found[1] or "").strip())  # type: ignore[arg-type]
    return row


def to_version_1(row: Row) -> Row:
    """A typed row as version 1 wrote it, for a file begun in that version."""
    reason = f": {row.note}" if row.note else ""
    if row.kind == "strike":
        return replace(row, about="", note=f"row {row.about}{reason}")
    if row.kind == "chosen":
        setting = row.mass if row.length is None else row.length
        note = f"next: {row.cycle} {row.branch} {setting:.6g}"
        return replace(row, kind="gap", length=None, mass=None, note=note)
    if row.kind == "planned":
        return replace(row, kind="gap", about="", note=f"plan from here [m]: {row.about}")
    if row.kind == "skipped":
        return replace(row, kind="gap", about="", note=f"skipped {row.about}{reason}")
    words = {"zero-lost": "zero lost", "enough": "enough", "left-out": "left out", "note": "note"}.get(row.kind)
    if words is not None:
        return replace(row, kind="gap", note=words + reason)
    if row.about == BETWEEN:
        return replace(row, about="", note=BETWEEN)
    if row.about == KEPT:
        return replace(row, about="", note="; ".join(filter(None, (row.note, _KEPT_1))))
    if row.about.startswith(INSTEAD):
        return replace(row, about="", note=f"in the place of row {row.about.removeprefix(INSTEAD)}")
    return row
