"""From an empty folder to the first kilos, on a phone-sized page: how many taps, keys and seconds it takes.

    python -m tests.campaigns.page_first_kilos

A made-up person does a quick look of an invented band, in real time: every countdown is waited for. What the hands need
is assumed and said; it is added by waiting.
"""

import re
import time
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.sync_api import Page, expect

from tests.acquire.recording.test_state_machine import shown
from tests.web.browser import chromium, looking, serving

READ_S = 6.0  # to read the cautions
TAPE_S = 8.0  # to lay the band flat and tape it
PULLS_S = 12.0  # three slow pulls before the first reading
SET_S = 4.0  # to set a length
KEY_S = 0.3  # to hit a key of the pad or keyboard
SETTLED = "#recording:is([data-state=ready], [data-state=done])"


class Person:
    """Whoever stands before the rack; counts what the hands do."""

    def __init__(self, page: Page) -> None:
        self.page, self.did = page, Counter[str]()

    def tap(self, name: str, role: str = "button") -> None:
        """One tap on a button, a link or a box to tick."""
        self.did["taps"] += 1
        time.sleep(KEY_S)
        self.page.get_by_role(role, name=name).first.tap()  # type: ignore[arg-type]

    def type(self, place: str, text: str) -> None:
        """A field touched and typed into."""
        self.did["taps"] += 1
        self.did["keys"] += len(text)
        time.sleep(KEY_S * (1 + len(text)))
        self.page.fill(place, text)

    def hands(self, seconds: float) -> None:
        """Something done away from the page."""
        time.sleep(seconds)


def quick_look(person: Person) -> float:
    """A whole quick look; the kilos it ends with."""
    page = person.page
    person.tap("Measure one", "link")
    person.type("#name", "B07")
    person.tap("Quick look")
    person.type("#q-max", "50 kg")
    person.type("#q-step", "0.05")
    person.hands(TAPE_S)
    person.type("#q-flat", "100 cm")
    person.tap("Next")
    person.hands(READ_S)
    person.tap("All of this is so", "checkbox")
    person.hands(PULLS_S)
    person.tap("Done: begin")
    while page.locator(SETTLED).get_attribute("data-state") == "ready":
        version = page.locator(SETTLED).get_attribute("data-version")
        place = page.locator("#place").inner_text()
        if place:
            person.hands(SET_S)
            person.tap("It is set")
            expect(page.locator("#wait")).to_have_text("Read now", timeout=30_000)
        kilos = shown(float(place.split()[0]) / 100 + 0.014) if place else 0.0
        person.type("#value", f"{round(kilos / 0.05) * 0.05:.2f}" if place else "0")
        person.tap("Take it")
        expect(page.locator(SETTLED)).not_to_have_attribute("data-version", version or "")
    person.tap("Show the kilos")
    page.locator("#big").wait_for()
    found = re.search(r"[0-9.]+", page.locator("#big").inner_text())
    return float(found[0]) if found else 0.0


def main() -> None:
    """Do it once, and say how long it took."""
    hands = READ_S + TAPE_S + PULLS_S
    with (
        TemporaryDirectory(prefix="first") as folder,
        chromium() as browser,
        serving(Path(folder)) as link,
        looking(browser, link, touch=True) as page,
    ):
        person, begun_s = Person(page), time.monotonic()
        kilos = quick_look(person)
        took = time.monotonic() - begun_s
    print(f"{person.did['taps']} taps, {person.did['keys']} keys, {took:.0f} s to {kilos:.2f} kg.")
    print(f"Of these {hands:.0f} s are the hands' (cautions read, band taped, three pulls),")
    print(f"{SET_S:.0f} s each length to be set, {KEY_S} s each key.")


if __name__ == "__main__":
    main()
