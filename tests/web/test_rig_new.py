"""A rig is described on the page: the questions of the command, one after another, and the same file."""

import io
import re
import sys
from html import unescape
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from calib.verbs.app import run
from tests.verbs.rig.test_new import BENCH_LB, SQUAT
from tests.verbs.rig.test_new import gym as gym
from tests.web.phone import HERE, let_in


def answers_of(page: str) -> str:
    """What the form carries along."""
    found = re.search(r'<textarea name="answers" hidden>\n([^<]*)</textarea>', page)
    assert found, page
    return unescape(found[1])


def answered(phone: TestClient, name: str, answers: list[str]) -> str:
    """The page after so many answers, each from the form before."""
    page = phone.post("/rigs/new", headers=HERE, data={"name": name}).text
    for answer in answers:
        sent = {"name": name, "answers": answers_of(page), "answer": answer}
        answered = phone.post("/rigs/new", headers=HERE, data=sent)
        assert answered.status_code == 200, (answer, re.findall(r'role="alert"[^>]*>([^<]+)', answered.text))
        page = answered.text
    return page


@pytest.mark.parametrize("answers", [SQUAT, BENCH_LB], ids=["holes", "pounds"])
def test_the_file_is_that_of_the_command(gym: Path, answers: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    phone = let_in(gym)
    sent = {"name": "mine", "answers": answers_of(answered(phone, "mine", answers[:-1])), "answer": answers[-1]}
    done = phone.post("/rigs/new", headers=HERE, data=sent, follow_redirects=False)
    assert done.headers["location"] == "/rig/mine"
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{a}\n" for a in answers)))
    assert run(["rig", "new", "theirs"]) == 0
    assert (gym / "mine.rig.toml").read_text("utf-8") == (gym / "theirs.rig.toml").read_text("utf-8")


def test_options_are_buttons_and_a_wrong_answer_is_asked_again(gym: Path) -> None:
    phone = let_in(gym)
    page = answered(phone, "mine", [])
    assert re.findall(r'name="answer" value="(\d)"[^>]*>([^<]+)', page) == [("1", "kg and cm"), ("2", "lb and in")]
    page = answered(phone, "mine", ["1", "n"])
    sent = {"name": "mine", "answers": answers_of(page), "answer": "<b>heavy"}
    wrong = phone.post("/rigs/new", headers=HERE, data=sent)
    assert wrong.status_code == 422
    assert "&lt;b&gt;heavy" in wrong.text
    assert answers_of(wrong.text) == answers_of(page)
    back = phone.post("/rigs/new", headers=HERE, data={"name": "mine", "answers": answers_of(page), "do": "back"})
    assert answers_of(back.text) == "\n1"
    assert not list(gym.glob("*.rig.toml"))


@pytest.mark.parametrize("name", ["", "../x", "a/b", "<b>", "x" * 300])
def test_a_rig_needs_a_name_that_can_be_one(gym: Path, name: str) -> None:
    answer = let_in(gym).post("/rigs/new", headers=HERE, data={"name": name})
    assert answer.status_code == 422
    assert "<b>" not in answer.text


@pytest.mark.parametrize("profile", ["../B", "/etc/passwd", "nobody", "B" * 150])
def test_only_profiles_of_the_folder_are_read(gym: Path, profile: str) -> None:
    phone = let_in(gym)
    page = answered(phone, "mine", SQUAT[: SQUAT.index("B")])
    sent = {"name": "mine", "answers": answers_of(page), "answer": profile}
    answer = phone.post("/rigs/new", headers=HERE, data=sent)
    assert answer.status_code == 422
    assert "choose one from the list" in answer.text
