"""Which verdict a band of a box gets. Invented members."""

from dataclasses import replace
from typing import Any

import pytest

from calib.finding import Finding
from calib.use.bands.batch_levels import BatchMember, WayOut, standing
from calib.use.bands.triage import by_word, said_of_runs, verdicts


def member(name: str, level: float = 1.0, **more: Any) -> BatchMember:
    pulls = tuple(level * f for f in (50.0, 90.0, 120.0))
    out = WayOut((1.2, 1.5, 1.8), pulls, (0.5, 0.5, 0.5), (1.0, 1.0, 1.0))
    made = BatchMember(name, 1.0, 0.3, 1.0, out, (0.3, 0.3, 0.3), 9, 8, borrowed=False, departs="")
    return replace(made, **more)


SOFT = Finding("band-softened", "B03 has lost 12 % of its pull")
ODD = "its shape is another"
CASES: dict[str, tuple[dict[str, Any], tuple[Finding, ...]]] = {
    "pair": ({}, ()),
    "retire": ({"departs": ODD}, (SOFT,)),
    "measure again": ({"said": (Finding("not-repeatable", "B03 scatters by 9 %"),)}, ()),
    "look at it": ({"departs": ODD}, ()),
    "alone": ({"level": 1.1}, ()),
}


@pytest.mark.parametrize("word", CASES)
def test_each_band_gets_the_verdict_its_findings_ask_for(word: str) -> None:
    more, known = CASES[word]
    members = [member("B01"), member("B02", 1.01), member("B03", **{"level": 1.005, **more})]
    told = verdicts(members, standing(members).levels, {"B03": known})
    assert told[2].word == word
    assert told[0].word == told[1].word == "pair"
    assert bool(told[2].why) == (word != "pair")


def test_an_odd_shape_read_at_few_lengths_is_measured_and_one_measured_in_full_is_looked_over() -> None:
    odd = [member("B01", departs=ODD, borrowed=True), member("B02", departs=ODD), member("B03", readings=0)]
    few, full, never = verdicts(odd, standing(odd).levels, {})
    assert (few.word, full.word, never.word) == ("measure again", "look at it", "measure again")
    assert "eight" in few.why
    assert "eight" not in full.why
    assert next(word for word, _, _ in by_word(["B01", "B02", "B03"], [few, full, never])) == "look at it"


def test_what_each_run_says_is_told_once_a_code_with_all_its_bands() -> None:
    drift = Finding("zero-drift", "the zero moved by 0.2 kg")
    members = [member("B01", said=(drift, Finding("shape-borrowed", "x"))), member("B02", said=(drift,))]
    assert said_of_runs(members) == [(drift, ["B01", "B02"])]
