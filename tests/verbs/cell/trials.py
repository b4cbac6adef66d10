"""Recordings with the cable pulled, or the program killed, at a chosen moment; what was accepted against the file."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from calib.acquire.files.run_file import read_run
from calib.fit.curve.observations import observe
from calib.records import Row, RunHead
from calib.verbs.talk import recorder as typed_recorder
from tests.verbs.cell.bench import Bench, band_force, head_for, recorder_at


@dataclass(frozen=True)
class Ended:
    """What a recording left behind."""

    accepted: tuple[Row, ...]  # as the program held them
    in_file: tuple[Row, ...]
    worst_percent: float  # of a reading's pull, as the fitter sees it, from the band's
    took_s: float  # by the bench


class KilledError(BaseException):
    """The program is gone."""


def type_flat(monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody types the flat length at the end."""
    monkeypatch.setattr(typed_recorder, "ask_line", lambda prompt, begun="": "1029")


def run_through(bench: Bench, folder: Path, head: RunHead | None = None, *, killed_s: float | None = None) -> Ended:
    """Record to the end; a killed program is started again and goes on with its file."""
    head = head or head_for()
    recorder, person = recorder_at(bench, folder, head)
    if killed_s is not None:
        person.extra = lambda p: _killed(p.bench.t >= killed_s)
        with pytest.raises(KilledError):
            recorder.record()
        recorder.writer.close()
        _compared(recorder.state.rows, recorder.path)
        bench.go_to(0.0)
        recorder, person = recorder_at(bench, folder, head, resume=recorder.path)
        person._seen_away, person._zeros = True, sum(r.kind == "zero" for r in recorder.state.rows)
    recorder.record()
    recorder.writer.close()
    in_file = _compared(recorder.state.rows, recorder.path)
    return Ended(recorder.state.rows, in_file, _worst(recorder.path), bench.t)


def _killed(now: bool) -> str:
    if now:
        raise KilledError
    return ""


def _compared(accepted: tuple[Row, ...], path: Path) -> tuple[Row, ...]:
    in_file = read_run(path).rows
    assert [_what(r) for r in in_file] == [_what(r) for r in accepted]
    return in_file


def _what(row: Row) -> tuple[object, ...]:
    force = None if row.force is None else round(row.force, 6)
    return row.number, row.kind, row.cycle, row.branch, force, row.at_s, row.about, row.note


def _worst(path: Path) -> float:
    run = read_run(path)
    if any(r.force is None for r in run.readings):
        return float("nan")
    seen = observe([run])
    truth = [band_force(r.length or 0.0, r.branch or "loading") for r in run.readings]
    return float(np.abs(seen.pull / np.array(truth) - 1).max() * 100)


def unplugged(seed: int, folder: Path) -> Ended:
    """The cable pulled once at a random moment of a run, for a random time, by a board that may tare."""
    random = np.random.default_rng(seed)
    bench = Bench(
        rate=float(random.choice([10.0, 11.3, 80.0], p=[0.5, 0.3, 0.2])),
        unplugs=((random.uniform(5.0, 190.0), random.uniform(0.5, 12.0)),),
        tares=bool(random.random() < 0.5),
        seed=seed,
    )
    return run_through(bench, folder)


def killed(seed: int, folder: Path) -> Ended:
    """The program killed at a random moment, and started again."""
    random = np.random.default_rng(seed)
    return run_through(Bench(seed=seed), folder, killed_s=float(random.uniform(5.0, 170.0)))


def quick_head() -> RunHead:
    """Three lengths are enough for most questions."""
    head = head_for(closing=False)
    return replace(head, extensions={**head.extensions, "settings": [1.25, 1.4, 1.6], "way_back": False})
