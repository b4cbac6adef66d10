"""Score the product: `python -m tests.campaigns.adversary [--bands 200] [--rows 'bend*'] [--write PAGE]`."""

import argparse
import fnmatch
import json
import tempfile
import time
import zlib
from dataclasses import asdict
from pathlib import Path

import numpy as np

from tests.campaigns.adversary.case import Row
from tests.campaigns.adversary.page import TITLES, line, page
from tests.campaigns.adversary.product import answer_all
from tests.campaigns.adversary.quick import quick_rows
from tests.campaigns.adversary.rows import all_rows
from tests.campaigns.adversary.scoring import BandScore, RowScore, score, summed
from tests.campaigns.adversary.series import series_rows


def every_row() -> list[Row]:
    return [*all_rows(), *quick_rows(), *series_rows()]


def play(row: Row, bands: int, folder: Path, seed: int = 0) -> list[BandScore]:
    """All bands of a row; a band's own seed is the row's name and its number, so a row is the same alone."""
    start = zlib.crc32(row.name.encode())
    cases = [row.make(np.random.default_rng([seed, start, i]), f"A{i:03d}") for i in range(bands)]
    answers = answer_all(cases, folder / row.name)
    return [score(row, case, answer) for case, answer in zip(cases, answers, strict=True)]


def worst_bands(scores: list[BandScore]) -> str:
    far = sorted((s for s in scores if s.worst_z > 5), key=lambda s: -s.worst_z)[:6]
    said = [f"{s.ident} {s.worst_z:.1f} u{' (named)' if s.worst_named else ''}" for s in far]
    failed = [f"{s.ident}: {s.failed}" for s in scores if s.failed][:3]
    return "; ".join(said + failed)


def asked(patterns: str) -> list[Row]:
    return [r for r in every_row() if any(fnmatch.fnmatch(r.name, p) for p in patterns.split(","))]


def kept_scores(path: Path | None) -> dict[str, RowScore]:
    """Rows scored before, by name."""
    if path is None or not path.exists():
        return {}
    rows = json.loads(path.read_text("utf-8"))
    return {r["name"]: RowScore(**{**r, "alarm_codes": tuple(r["alarm_codes"])}) for r in rows}


def campaign(rows: list[Row], options: argparse.Namespace) -> dict[str, RowScore]:
    """Play the rows one by one; each score is on the disk before the next row begins."""
    scored = kept_scores(options.scores)
    with tempfile.TemporaryDirectory() as scratch:
        for row in rows:
            began = time.perf_counter()
            scores = play(row, options.bands, options.keep or Path(scratch), options.seed)
            total = summed(row.name, scores)
            scored[row.name] = total
            print(line(total), f"{time.perf_counter() - began:5.1f} s", worst_bands(scores), flush=True)
            if options.scores:
                options.scores.write_text(json.dumps([asdict(s) for s in scored.values()]), "utf-8")
    return scored


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bands", type=int, default=40, help="bands a row")
    parser.add_argument("--rows", default="*", help="a pattern of row names, or several with commas")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--write", type=Path, help="a page to write")
    parser.add_argument("--keep", type=Path, help="a new folder to keep the files in")
    parser.add_argument("--scores", type=Path, help="a file of scores; rows that stand in it are in the page too")
    options = parser.parse_args()
    print(TITLES)
    scored = campaign(asked(options.rows), options)
    if options.write:
        found = [(row, scored[row.name]) for row in every_row() if row.name in scored]
        options.write.write_text(page(found, options.seed), "utf-8")


if __name__ == "__main__":
    main()
