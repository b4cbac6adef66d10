"""A recording on the page: acknowledged when on the disk, once however often sent, one writer, many who watch."""

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from calib.acquire.files.run_file import RunWriter, read_run
from calib.web import measuring
from calib.web.access import Doorkeeper
from calib.web.measuring import Sitting
from calib.web.views import page_of
from tests.acquire.recording.test_state_machine import begun, shown
from tests.web.phone import HOST, let_in

HERE = {"origin": f"http://{HOST}", "accept": "application/json"}
BEGUN = datetime(2026, 3, 5, 18, 20, tzinfo=UTC)


@pytest.fixture
def run(tmp_path: Path) -> Path:
    path = tmp_path / "B1.run.csv"
    RunWriter.create(path, begun().head).close()
    return path


@pytest.fixture
def door() -> Doorkeeper:
    return Doorkeeper(frozenset({HOST}))


@pytest.fixture
def phones(run: Path, door: Doorkeeper) -> Iterator[tuple[TestClient, TestClient]]:
    app = page_of(run.parent, door)
    pair = (TestClient(app, base_url=f"http://{HOST}"), TestClient(app, base_url=f"http://{HOST}"))
    for phone in pair:
        phone.get("/enter", params={"code": door.new_code()})
    yield pair


def say(phone: TestClient, entry: str, name: str, **more: str) -> dict[str, object]:
    answer = phone.post("/measure/B1", headers=HERE, json={"entry": entry, "id": name, **more})
    assert answer.status_code == 200, answer.text
    found = answer.json()
    assert isinstance(found, dict)
    return found


def test_an_acknowledged_entry_is_on_the_disk(phones: tuple[TestClient, TestClient], run: Path) -> None:
    phone = phones[0]
    assert say(phone, "0", "a")["progress"] == "reading 1 of 18, cycle 1"
    assert [r.kind for r in read_run(run).rows] == ["zero"]
    say(phone, f"{shown(1.1):.2f}", "b", held_s="9.8")
    rows = read_run(run).rows
    assert rows[-1].length == 1.1
    assert rows[-1].dwell_s == 9.8


def test_an_entry_sent_twice_counts_once(phones: tuple[TestClient, TestClient], run: Path) -> None:
    for _ in range(3):
        say(phones[0], "0", "a")
    say(phones[0], f"{shown(1.1):.2f}", "b")
    seen = say(phones[0], f"{shown(1.1):.2f}", "b")
    assert seen["progress"] == "reading 2 of 18, cycle 1"
    assert len(read_run(run).rows) == 2


def test_a_doubt_is_asked_and_the_reading_waits(phones: tuple[TestClient, TestClient], run: Path) -> None:
    say(phones[0], "0", "a")
    say(phones[0], f"{shown(1.1):.2f}", "b")
    seen = say(phones[0], f"{shown(1.2) * 10:.2f}", "c")
    assert seen["question"] is True
    assert len(read_run(run).rows) == 2
    assert say(phones[0], f"{shown(1.2):.2f}", "d")["question"] is False
    assert len(read_run(run).rows) == 3


def test_two_phones_see_the_same_and_one_writes(phones: tuple[TestClient, TestClient], run: Path) -> None:
    first, second = phones
    say(first, "0", "a")
    watched = say(second, "5", "x")
    assert watched["writes"] is False
    assert len(read_run(run).rows) == 1, "what the watching phone sent is not taken"
    assert second.post("/measure/B1", headers=HERE, json={"pen": "take"}).json()["writes"] is True
    say(second, f"{shown(1.1):.2f}", "y")
    assert len(read_run(run).rows) == 2
    assert first.get("/measure/B1", headers={"accept": "application/json"}).json()["writes"] is False


def test_a_page_that_starts_again_goes_on_where_it_was(phones: tuple[TestClient, TestClient], run: Path) -> None:
    say(phones[0], "0", "a")
    say(phones[0], f"{shown(1.1):.2f}", "b")
    again = let_in(run.parent)
    seen = again.get("/measure/B1", headers={"accept": "application/json"}).json()
    assert seen["progress"] == "reading 2 of 18, cycle 1"
    assert seen["picture"].count("<circle") == 1


def test_without_a_script_the_form_does_the_same(phones: tuple[TestClient, TestClient], run: Path) -> None:
    answer = phones[0].post("/measure/B1", headers={"origin": f"http://{HOST}"}, data={"entry": "0"})
    assert answer.status_code == 200
    assert "Set this length" in answer.text
    assert len(read_run(run).rows) == 1


def test_another_program_that_writes_is_seen_and_nothing_is_lost(
    phones: tuple[TestClient, TestClient], run: Path
) -> None:
    say(phones[0], "0", "a")
    with run.open("a") as other:
        other.write("2,reading,,1,loading,1100,2.0,5,10,\n")
    answer = phones[0].post("/measure/B1", headers=HERE, json={"entry": "3", "id": "b"})
    assert answer.status_code == 422
    assert "written to by another" in answer.json()["error"]
    seen = phones[0].get("/measure/B1", headers={"accept": "application/json"}).json()
    assert seen["picture"].count("<circle") == 1
    assert len(read_run(run).rows) == 2


@pytest.mark.parametrize("name", ["../B1", "/etc/passwd", "B1.run.csv", "b1", "<script>", "%2e%2e/x", "B1%00"])
def test_only_recordings_of_the_folder_are_opened(phones: tuple[TestClient, TestClient], name: str) -> None:
    answer = phones[0].get(f"/measure/{name}", headers={"accept": "application/json"})
    assert answer.status_code in (404, 422)


@pytest.mark.parametrize("body", [b"{", b"[1]", b"\xff", b'{"entry": {"a": 1}}', b"{" * 5000, b"entry=" + b"x" * 5000])
def test_bad_bodies_are_one_sentence_and_change_nothing(
    phones: tuple[TestClient, TestClient], run: Path, body: bytes
) -> None:
    before = run.read_bytes()
    answer = phones[0].post("/measure/B1", headers=HERE, content=body)
    assert answer.status_code in (200, 422)
    assert json.loads(answer.text)
    assert run.read_bytes() == before


def test_a_run_moved_away_while_another_lies_in_its_place_is_said(
    phones: tuple[TestClient, TestClient], run: Path
) -> None:
    say(phones[0], "0", "a")
    moved = run.rename(run.with_name("moved.csv"))
    run.write_bytes(moved.read_bytes())
    answer = phones[0].post("/measure/B1", headers=HERE, json={"entry": "3", "id": "b"})
    assert answer.status_code == 422
    assert "moved or deleted" in answer.json()["error"]
    assert len(read_run(moved).rows) == len(read_run(run).rows) == 1
    say(phones[0], f"{shown(1.1):.2f}", "c")
    assert len(read_run(run).rows) == 2


@pytest.mark.parametrize("name", [".#B1.run.csv", "B2.run.csv", "B2.profile.json", "B2.uses.csv"])
@pytest.mark.parametrize("view", ["/", "/measure"])
def test_a_link_to_what_is_not_there_stops_no_view(
    phones: tuple[TestClient, TestClient], run: Path, name: str, view: str
) -> None:
    (run.parent / name).symlink_to("nowhere")  # an editor marks a file that it has open so
    assert phones[0].get(view).status_code == 200


def test_an_old_reading_is_changed_and_another_measured_again(phones: tuple[TestClient, TestClient], run: Path) -> None:
    for n, line in enumerate(["0", *(f"{shown(x):.2f}" for x in (1.1, 1.2, 1.4))]):
        say(phones[0], line, f"{n}")
    seen = say(phones[0], f"change 3 {shown(1.2) + 0.05:.2f}", "x")
    assert seen["progress"] == "reading 4 of 18, cycle 1"
    assert [row["number"] for row in seen["rows"] if row["struck"]] == [3]  # type: ignore[attr-defined]
    seen = say(phones[0], "again 2 on the page", "y")
    assert seen["progress"] == "reading 4 of 19, cycle 1"
    assert len(read_run(run).readings) == 2


def test_what_was_measured_may_be_changed_when_all_is_done(phones: tuple[TestClient, TestClient], run: Path) -> None:
    say(phones[0], "0", "a")
    say(phones[0], f"{shown(1.1):.2f}", "b")
    for n in range(30):
        seen = say(phones[0], "skip", f"s{n}")
    assert seen["done"] is True
    assert say(phones[0], f"change 2 {shown(1.1) + 0.05:.2f}", "c")["done"] is True
    assert len(read_run(run).readings) == 1
    assert say(phones[0], "undo", "d")["done"] is False


def test_a_quick_look_whose_readings_do_not_agree_asks_once_more(tmp_path: Path, door: Doorkeeper) -> None:
    head = begun(settings=(1.2, 1.5, 1.8), cycles=2, way_back=False, closing=False).head
    path = tmp_path / "Q.run.csv"
    RunWriter.create(path, replace(head, extensions=head.extensions | {"quick": True})).close()
    phone = TestClient(page_of(tmp_path, door), base_url=f"http://{HOST}")
    phone.get("/enter", params={"code": door.new_code()})
    slip = {(2, 1.5): 1.3}
    lines = ["0", *(f"{slip.get((c, x), 1.0) * shown(x):.2f}" for c in (1, 2) for x in (1.2, 1.5, 1.8))]
    for n, line in enumerate(lines):
        answer = phone.post("/measure/Q", headers=HERE, json={"entry": line, "id": f"{n}"}).json()
        assert not answer["question"], answer["say"]
    assert "do not agree" in answer["say"][-1]
    assert answer["asks"]["place"] == "1500 mm"
    answer = phone.post("/measure/Q", headers=HERE, json={"entry": f"{shown(1.5):.2f}", "id": "z"}).json()
    assert answer["done"]


class Clocks:
    """The day's clock, which somebody may set, and one that nobody sets."""

    def __init__(self, at_s: float) -> None:
        self.steady_s, self.ahead_s = 100.0, at_s - 100.0

    def wall(self) -> float:
        return self.steady_s + self.ahead_s

    def steady(self) -> float:
        return self.steady_s


def begun_at(run: Path, when: datetime) -> datetime:
    """The run's head with the instant it was begun at."""
    run.unlink()
    RunWriter.create(run, replace(begun().head, started=when)).close()
    return when


@pytest.mark.parametrize(("by", "words"), [(86_400.0, "forward by 1 day"), (-7200.0, "back by 2 hours")])
def test_a_clock_set_anew_moves_no_entry_and_is_said_once_and_noted(run: Path, by: float, words: str) -> None:
    clocks = Clocks(begun_at(run, BEGUN).timestamp() + 30)
    sitting = Sitting.resume(run, clocks.wall, clocks.steady)
    sitting.enter("a", "0")
    clocks.ahead_s += by
    clocks.steady_s += 20
    sitting.enter("b", f"{shown(1.1):.2f}")
    assert words in sitting.said[-1]
    clocks.steady_s += 20
    sitting.enter("c", f"{shown(1.2):.2f}")
    assert not any("clock" in text for text in sitting.said)
    rows = read_run(run).rows
    assert [(row.kind, row.at_s) for row in rows] == [
        ("zero", 30.0),
        ("reading", 50.0),
        ("note", 50.0),
        ("reading", 70.0),
    ]
    assert words in rows[2].note


def test_a_recording_taken_up_a_day_later_says_so(run: Path) -> None:
    clocks = Clocks(begun_at(run, BEGUN).timestamp() + 30)
    sitting = Sitting.resume(run, clocks.wall, clocks.steady)
    sitting.enter("a", "0")
    sitting.enter("b", f"{shown(1.1):.2f}")
    sitting.close()
    clocks.ahead_s += 86_400
    assert "1 day old" in Sitting.resume(run, clocks.wall, clocks.steady).said[-1]
    clocks.ahead_s -= 2 * 86_400
    again = Sitting.resume(run, clocks.wall, clocks.steady)
    assert again.said == ()
    assert again.now() == 30.0, "never before what was read"


def test_no_more_recordings_are_held_open_than_a_few_and_each_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(measuring, "MOST_OPEN", 2)
    for i in range(4):
        RunWriter.create(tmp_path / f"B{i}.run.csv", begun(cycles=1).head).close()
    bench = measuring.Bench(tmp_path)
    for name in ("B0", "B1", "B2", "B3", "B0"):
        with bench.sitting(name) as one:
            assert one is bench.open[name]
        assert len(bench.open) <= 2
