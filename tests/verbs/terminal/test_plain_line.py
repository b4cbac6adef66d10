"""A command line read without typer is read as typer reads it."""

import random
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

from calib.verbs import full_line
from calib.verbs.overview import COMMANDS
from calib.verbs.terminal import help_pages
from calib.verbs.terminal.plain_line import _places, called

MODULES = {name: entry.module for name, entry in COMMANDS.items()}
VALUES: dict[Any, list[str]] = {
    str: ["B07", "1.6m", "", "é", "a b", "-", "-5", "--json", "1..2"],
    Path: ["a", "a/b.json", "", ".", "-", "x y"],
    int: ["0", "1", "5", "007", "12", "1.5", "x", "99999", "1_0", "-1", "٣"],
    float: ["1", "1.5", ".5", "1e3", "x", "1_0", " 1", "-2", "700", "nan", "1.", "0x1"],
}


def _commands() -> dict[tuple[str, ...], Any]:
    found: dict[tuple[str, ...], Any] = {}
    for name, path in MODULES.items():
        module = import_module(path)
        if hasattr(module, "command"):
            found[(name,)] = module.command
        else:
            found |= {(name, word): inner for word, inner in module.app.commands.items()}
            found |= {(name, word): import_module(inner).command for word, inner in module.app.words.items()}
    return found


ALL = _commands()


def _lines(words: tuple[str, ...], command: Any, dice: random.Random, count: int) -> Iterator[list[str]]:
    """Command lines: in order for the most part, each with a slip now and then."""
    places = _places(command)
    for _ in range(count):
        line = list(words)
        for place in places:
            values = VALUES.get(place.kind, [])
            sound = values[:3] if dice.random() < 0.8 else values
            if place.said.kind == "Argument":
                line += [
                    dice.choice(sound) for _ in range(dice.choice([1, 1, 1, 0, 2] if not place.many else [1, 2, 3]))
                ]
            elif dice.random() < 0.3:
                name = dice.choice(place.said.names or [f"--{place.name.replace('_', '-')}"])
                value = dice.choice(sound) if values else ""
                line += [name] if place.kind is bool else dice.choice([[name, value], [f"{name}={value}"]])
        tail = line[len(words) :]
        if dice.random() < 0.15:
            dice.shuffle(tail)
        if dice.random() < 0.05:
            tail.append(dice.choice(["--unknown", "-h", "--", "-x", "one-more", "--fol", "\udc80"]))
        yield [*words, *tail]


@pytest.mark.parametrize("words", list(ALL), ids=" ".join)
def test_a_line_is_read_as_typer_reads_it(words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch) -> None:
    by_typer: list[dict[str, Any]] = []
    monkeypatch.setattr(help_pages, "started", lambda command, values: by_typer.append(values))
    app, read = full_line.build(), 0
    for line in _lines(words, ALL[words], random.Random(" ".join(words)), 300):
        call = called(line, MODULES)
        if call is None:
            continue
        read += 1
        by_typer.clear()
        app(args=line, prog_name="bandcurve", standalone_mode=False)
        assert [call.values] == by_typer, line
        assert [list(map(type, call.values.values()))] == [list(map(type, by_typer[0].values()))], line
    assert read >= 8


@pytest.mark.parametrize(
    "line",
    [
        [],
        ["predict"],
        ["predict", "--help"],
        ["predict", "-h"],
        ["predict", "B07", "--lenght", "1.6m"],
        ["predict", "B07", "--length"],
        ["predict", "B07", "--length", "-1m"],
        ["predict", "B07", "B08", "--length", "1m"],
        ["predict", "B07", "--json=1"],
        ["predcit", "B07"],
        ["rig"],
        ["rig", "--help"],
        ["rig", "nothing"],
        ["scale", "nothing"],
        ["plan", "B07", "--cycles", "1000"],
    ],
)
def test_what_is_not_in_order_is_left_to_typer(line: list[str]) -> None:
    assert called(line, MODULES) is None


def test_a_line_in_order_is_read_here() -> None:
    call = called(["predict", "B07", "--length", "1.6m", "--json"], MODULES)
    assert call is not None
    assert call.values["band"] == "B07"
    assert call.values["as_json"] is True
    assert call.values["unit"] == "kg"
