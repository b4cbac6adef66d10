"""Drawings made by code: each is well-formed, says what it shows, and stays within its frame."""

import re
from xml.etree import ElementTree

import pytest

from calib.use.report.drawings import NAMES, drawing, drawing_caption, file_of
from tests.campaigns.drawings import FOLDER

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("name", NAMES)
def test_a_drawing_is_whole_and_says_what_it_shows(name: str) -> None:
    root = ElementTree.fromstring(drawing(name))
    title = root.find(f"{SVG}title")
    assert title is not None
    assert title.text == drawing_caption(name)
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    for x in root.iter():
        for key, most in (("cx", width), ("x", width), ("cy", height), ("y", height)):
            if key in x.attrib:
                assert 0 <= float(x.attrib[key]) <= most
        for px, py in re.findall(r"[ML]([\d.]+) ([\d.]+)", x.attrib.get("d", "")):
            assert 0 <= float(px) <= width
            assert 0 <= float(py) <= height


def test_the_three_tapes_differ_as_the_lengths_they_stand_for() -> None:
    def tape(name: str) -> float:
        dashed = next(p for p in ElementTree.fromstring(drawing(name)) if p.attrib.get("stroke-dasharray"))
        x1, x2 = re.findall(r"[ML]([\d.]+) ", dashed.attrib["d"])
        return float(x2) - float(x1)

    assert tape("band-outer") > tape("band-inner") > tape("centres")


def test_the_guide_shows_every_drawing_as_it_is_made_now() -> None:
    again = "make them again: python -m tests.campaigns.drawings"
    assert {p.name: p.read_text("utf-8") for p in FOLDER.iterdir()} == {f"{n}.svg": file_of(n) for n in NAMES}, again
    pages = "".join(p.read_text("utf-8") for p in FOLDER.parent.glob("*.md"))
    shown = re.findall(r"!\[([^\]]+)\]\(drawings/([a-z-]+)\.svg\)", pages)
    assert sorted(name for _, name in shown) == sorted(NAMES)
    assert all(alt == drawing_caption(name) for alt, name in shown)
