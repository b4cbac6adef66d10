"""Limits worked out for the nearest bands only: the pairs are those of all limits, and nothing kept is ever stale."""

import os
from pathlib import Path

import numpy as np
import pytest

from calib.profile.document import load_again, load_profile, save_profile
from calib.use.bands import matching
from calib.use.bands.lookup import Lookup
from calib.use.bands.matching import PairLimits, best_pairs, nearest_pairs, upper_limits
from calib.use.bands.pair import pair_found, pair_up
from calib.use.bands.shared_lengths import Curve, common_lengths, curve_at
from tests.use.bands.made import band
from tests.use.bands.test_pair import box


def mixed(seed: int, count: int) -> list[Curve]:
    """Several sizes, several scales, so that much is shared by some and nothing by others."""
    rng = np.random.default_rng(seed)
    sizes, noise = rng.choice([0.5, 1.0, 1.02, 2.0], count), 1 + 0.02 * rng.standard_normal(count)
    profiles = [band(f"B{i}", s * e, check=f"hook/{i % 3}") for i, (s, e) in enumerate(zip(sizes, noise, strict=True))]
    lengths = common_lengths(profiles, None, 5)
    return [curve_at(p, lengths) for p in profiles]


@pytest.mark.parametrize("count", [2, 3, 30, 41])
@pytest.mark.parametrize("seed", range(3))
def test_pairs_and_their_limits_are_those_of_all_limits(monkeypatch: pytest.MonkeyPatch, seed: int, count: int) -> None:
    monkeypatch.setattr(matching, "NEAREST", 3)
    curves = mixed(seed, count)
    every = upper_limits(curves)
    wanted, left = best_pairs(np.rint(every / matching.STEP).astype(np.int64))
    pairs, without = nearest_pairs(PairLimits(curves))
    assert [(i, j) for i, j, _ in pairs] == wanted
    assert without == left
    assert [limit for _, _, limit in pairs] == [every[pair] for pair in wanted]


def test_most_limits_are_never_worked_out(monkeypatch: pytest.MonkeyPatch) -> None:
    limits = PairLimits(mixed(1, 60))
    asked: list[tuple[int, int]] = []
    whole = PairLimits.limit_of

    def noted(self: PairLimits, i: int, j: int) -> float:
        asked.append((i, j))
        return whole(self, i, j)

    monkeypatch.setattr(PairLimits, "limit_of", noted)
    nearest_pairs(limits)
    assert len(asked) == len(set(asked)) < 60 * 59 / 2 / 2


@pytest.mark.parametrize("seed", range(4))
def test_no_limit_falls_below_its_floor(seed: int) -> None:
    curves = mixed(seed, 30)
    above = upper_limits(curves) - PairLimits(curves).floors()
    assert above[~np.eye(30, dtype=bool)].min() > 0


def test_a_profile_written_again_is_read_again_even_with_the_same_size_and_time(tmp_path: Path) -> None:
    path = tmp_path / "B.profile.json"
    save_profile(band("B77"), path)
    was, state = load_again(path), path.stat()
    assert load_again(path) is was
    path.write_bytes(path.read_bytes().replace(b'"B77"', b'"C77"'))
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))
    assert (path.stat().st_size, path.stat().st_mtime_ns) == (state.st_size, state.st_mtime_ns)
    assert load_again(path).band.id == "C77"


def test_pairs_follow_a_file_that_changed_while_others_are_kept(tmp_path: Path) -> None:
    bands = box(12)
    for one in bands:
        save_profile(one, tmp_path / f"{one.band.id}.profile.json")
    names = [one.band.id for one in bands]
    before = pair_found(Lookup(tmp_path).find_all(names))
    assert pair_found(Lookup(tmp_path).find_all(names)) == before
    save_profile(band("B01", 0.4), tmp_path / "B01.profile.json")
    after = pair_found(Lookup(tmp_path).find_all(names))
    assert after.pairs != before.pairs
    assert after.pairs == pair_up([load_profile(tmp_path / f"{name}.profile.json") for name in names]).pairs
