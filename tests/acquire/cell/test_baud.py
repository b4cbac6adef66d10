"""The speed is found from the bytes alone: every pair of speeds, the bits on the wire worked out."""

import pytest

from calib.acquire.cell.baud import SETTINGS, BaudSearch, Setting, judge
from tests.acquire.cell.kinds import BANNER, KINDS, LineOfAKind
from tests.acquire.cell.uart import on_the_wire

SEVEN = (Setting(2400, "7E1"), Setting(9600, "7E1"))
SENDERS = (*SETTINGS, *SEVEN)
SOME = [kind for kind in KINDS if kind.name in {"bare-counts", "label-value-unit", "bench-stable", "framed-stable"}]


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_every_kind_of_line_is_text_however_it_is_cut(kind: LineOfAKind) -> None:
    data = kind.stream(40)
    for begin in range(len(data) - 200):
        assert judge(data[begin : begin + 200]) == "text"
    assert "garbage" not in {judge(data[:end]) for end in range(200)}


@pytest.mark.parametrize("kind", SOME, ids=lambda kind: kind.name)
@pytest.mark.parametrize("sender", SENDERS, ids=str)
def test_at_a_wrong_speed_nothing_is_ever_text(sender: Setting, kind: LineOfAKind) -> None:
    data = kind.stream(60)
    for receiver in SETTINGS:
        arrived = on_the_wire(data, sender, receiver)
        verdicts = {judge(arrived[:end]) for end in range(8, len(arrived), 8)}
        if receiver.baud != sender.baud:
            assert not verdicts & {"text", "text-7E1"}, receiver
        else:
            assert verdicts <= {"little", "text-7E1" if sender.framing == "7E1" else "text"}, receiver


@pytest.mark.parametrize("kind", SOME, ids=lambda kind: kind.name)
@pytest.mark.parametrize("sender", SENDERS, ids=str)
def test_the_search_ends_at_the_sender_s_setting(sender: Setting, kind: LineOfAKind) -> None:
    search = BaudSearch()
    at_s = 0.0
    for _ in range(200):  # half a second of lines each
        arrived = on_the_wire(kind.stream(5), sender, Setting(search.setting.baud))
        search.feed(arrived, at_s)
        at_s += 0.5
        if search.found:
            break
    assert search.setting == sender
    assert at_s < (30 if sender.baud == 250000 else 5)  # at a low speed a whole line of 250000 is one wrong byte
    assert search.feed(kind.stream(60), at_s) is None


def test_a_slow_sketch_is_waited_for() -> None:
    search = BaudSearch()
    for i in range(4):
        assert search.feed(b"4.87 kg\r\n", 5.0 * i) is None
    assert search.found
    assert search.setting == SETTINGS[0]


def test_a_boot_message_at_another_speed_only_costs_a_round() -> None:
    search = BaudSearch()
    boot = on_the_wire(BANNER * 3, Setting(74880), SETTINGS[0])
    search.feed(boot, 0.0)
    for i in range(100):
        search.feed(on_the_wire(KINDS[0].stream(5), SETTINGS[0], search.setting), 1.0 + i)
    assert search.found
    assert search.setting == SETTINGS[0]


def test_a_burst_of_garbage_does_not_shake_a_speed_that_was_right_but_lasting_garbage_does() -> None:
    search = BaudSearch()
    search.feed(KINDS[0].stream(30), 0.0)
    assert search.found
    garbage = bytes(range(128, 256))
    assert search.feed(garbage * 4, 1.0) is None
    search.feed(KINDS[0].stream(40), 2.0)
    for i in range(10):
        search.feed(garbage * 4, 3.0 + i)
    assert search.found
    for i in range(20):
        search.feed(garbage * 4, 13.0 + i)
    assert not search.found


def test_a_speed_the_user_gave_is_kept() -> None:
    search = BaudSearch(Setting(9600))
    for i in range(50):
        assert search.feed(bytes(range(128, 256)), float(i)) is None
    assert search.found


def test_without_a_speed_only_the_framing_is_found() -> None:
    search = BaudSearch(hunting=False)
    arrived = on_the_wire(KINDS[3].stream(20), SEVEN[1], Setting(9600))
    switch = search.feed(arrived, 0.0)
    assert switch is not None
    assert switch.framing == "7E1"
    assert bytes(byte & 0x7F for byte in arrived) == KINDS[3].stream(20)
