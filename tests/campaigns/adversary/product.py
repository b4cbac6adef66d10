"""The product, driven as anybody would: its command line (called in this process, for speed) and its files."""

import contextlib
import io
import json
import sys
from bisect import bisect
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from calib.verbs.app import run
from tests.campaigns.adversary.case import Case
from tests.campaigns.adversary.laws import Array


class Keyboard(io.StringIO):
    """A pipe whose next line is what somebody answers to all that was printed since the line before."""

    def __init__(self, printed: io.StringIO, talk: Callable[[str], str]) -> None:
        super().__init__()
        self.printed, self.talk, self.seen = printed, talk, 0

    def readline(self, size: int | None = -1, /) -> str:  # type: ignore[override]
        new = self.printed.getvalue()[self.seen :]
        self.seen += len(new)
        try:
            return self.talk(new) + "\n"
        except EOFError:
            return ""


def call(arguments: list[str], talk: Callable[[str], str] | None = None) -> tuple[int, str, str]:
    """One command: its exit status, and what it printed on either (all on the first, where somebody answers)."""
    out = io.StringIO()
    err = out if talk else io.StringIO()
    before = sys.stdin
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        sys.stdin = Keyboard(out, talk) if talk else before
        try:
            status = run(arguments)
        finally:
            sys.stdin = before
    return status, out.getvalue(), "" if talk else err.getvalue()


@dataclass(frozen=True)
class Answer:
    """What came back for one band; `error` where nothing did."""

    profile: dict[str, Any] | None
    shown: dict[str, Any] | None
    error: str = ""
    printed: str = ""
    run_text: str = ""

    @property
    def findings(self) -> list[dict[str, str]]:
        return list(self.profile["findings"]) if self.profile else []

    def curve(self, branch: str, column: str, lengths: Array) -> Array:
        """A column of a branch by straight lines between its points; none outside what was tested."""
        assert self.profile is not None
        table = self.profile["branches"][branch]
        if table is None:
            return np.full(len(lengths), np.nan)
        return np.array([_between(table["length_m"], table[column], x) for x in lengths])

    def next_u95(self, branch: str, lengths: Array) -> Array:
        """Of the next set, from the table that `show` prints."""
        assert self.shown is not None
        rows = [(r["length_m"], r[branch]["u95_next_set_N"]) for r in self.shown["table"] if r[branch]]
        return np.interp(lengths, [x for x, _ in rows], [u for _, u in rows]) if rows else np.full(len(lengths), np.nan)


def _between(x: list[float], f: list[float], at: float) -> float:
    if not x[0] <= at <= x[-1]:
        return float("nan")
    i = min(max(bisect(x, at) - 1, 0), len(x) - 2)
    return f[i] + (at - x[i]) / (x[i + 1] - x[i]) * (f[i + 1] - f[i])


def answer_all(cases: list[Case], folder: Path) -> list[Answer]:
    """All bands that only need a fit in one call, the others one by one."""
    folder.mkdir(parents=True, exist_ok=True)
    for case in cases:
        for name, text in case.files.items():
            (folder / name).write_text(text, "utf-8")
    runs = [str(folder / n) for case in cases if not case.command for n in case.files]
    errors = _fit(runs, folder) if runs else ""
    return [_alone(case, folder) if case.command else _answer(case, folder, errors) for case in cases]


def _alone(case: Case, folder: Path) -> Answer:
    arguments = [a.replace("{folder}", str(folder)) for a in case.command]
    if case.talk:
        status, out, err = call([*arguments, "--out", str(folder)], case.talk)
        run_file = folder / f"{case.ident}.run.csv"
        text = run_file.read_text("utf-8") if run_file.exists() else ""
        return replace(_answer(case, folder, f"exit status {status}"), printed=out, run_text=text)
    status, out, err = call(arguments)
    return Answer(None, None, err.strip(), printed=out)


def _fit(runs: list[str], folder: Path) -> str:
    status, out, err = call(["fit", *runs, "--out", str(folder), "--json", "--jobs", "1"])
    if not out.strip():
        return err.strip() or f"exit status {status}, and nothing said"
    return "; ".join(f"{f['file']}: {f['error']}" for f in json.loads(out)["failed"])


def _answer(case: Case, folder: Path, errors: str) -> Answer:
    path = folder / f"{case.ident}.profile.json"
    if not path.exists():
        mine = [e for e in errors.split("; ") if case.ident in e]
        return Answer(None, None, "; ".join(mine) or errors or "no profile")
    _, out, err = call(["show", str(path), "--json"])
    return Answer(json.loads(path.read_text("utf-8")), json.loads(out) if out else None, err.strip())
