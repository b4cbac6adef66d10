"""From an empty folder to the first kilos, and to those that stay: taps, keys and seconds on a phone-sized page.

    python -m tests.campaigns.page_first_kilos

A made-up person does a quick look of an invented band, in real time: every countdown is waited for. What the hands need
is assumed and said; it is added by waiting.
"""

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
    """Whoever stands before the rack; counts what the hands do, and where the seconds go."""

    def __init__(self, page: Page) -> None:
        self.page, self.did, self.took = page, Counter[str](), Counter[str]()
        self.begun_s = time.monotonic()

    def spend(self, seconds: float, on: str) -> None:
        """Something done away from the page, or with a finger on it."""
        time.sleep(seconds)
        self.took[on] += round(1000 * seconds)

    def tap(self, name: str, role: str = "button") -> None:
        """One tap on a button or a box to tick."""
        self.did["taps"] += 1
        self.spend(KEY_S, "taps and keys")
        self.page.get_by_role(role, name=name).first.tap()  # type: ignore[arg-type]

    def type(self, place: str, text: str) -> None:
        """A field touched and typed into."""
        self.did["taps"] += 1
        self.spend(KEY_S, "taps and keys")
        self.on_pad(place, text)

    def on_pad(self, place: str, text: str) -> None:
        """Typed on the pad, which needs no field to be touched first."""
        self.did["keys"] += len(text)
        self.spend(KEY_S * len(text), "taps and keys")
        self.page.fill(place, text)

    def hold(self) -> None:
        """Hold until the bell."""
        begun_s = time.monotonic()
        expect(self.page.locator("#wait")).to_have_text("Read now", timeout=30_000)
        self.took["holds"] += round(1000 * (time.monotonic() - begun_s))

    def tell(self, where: str, kilos: str) -> None:
        """Say how far it has come."""
        took = time.monotonic() - self.begun_s
        print(f"{where}: {self.did['taps']} taps, {self.did['keys']} keys, {took:.0f} s to {kilos}")
        rest = took - sum(self.took.values()) / 1000
        for on, spent in [*self.took.items(), ("the page and its browser", 1000 * rest)]:
            print(f"{spent / 1000:6.1f} s  {on}")


def quick_look(person: Person) -> None:
    """A whole quick look, told of after its first pull and at its end."""
    page = person.page
    person.type("#name", "B07")
    person.tap("Quick look")
    person.type("#q-max", "50 kg")
    person.type("#q-step", "0.05")
    person.spend(TAPE_S, "band taped")
    person.type("#q-flat", "100 cm")
    person.tap("Next")
    person.spend(READ_S, "cautions read")
    person.tap("All of this is so", "checkbox")
    person.spend(PULLS_S, "three pulls")
    person.tap("Done: begin")
    while page.locator(SETTLED).get_attribute("data-state") == "ready":
        version = page.locator(SETTLED).get_attribute("data-version")
        place = page.locator("#place").inner_text()
        if place:
            person.spend(SET_S, "lengths set")
            person.tap("It is set")
            person.hold()
        kilos = shown(float(place.split()[0]) / 100 + 0.014) if place else 0.0
        person.on_pad("#value", f"{round(kilos / 0.05) * 0.05:.2f}" if place else "0")
        person.tap("Take it")
        expect(page.locator(SETTLED)).not_to_have_attribute("data-version", version or "")
        if "First kilos" in (words := page.locator("#say").inner_text()):
            person.tell("After one pull", words)
    person.tap("Show the kilos")
    page.locator("#big").wait_for()
    person.tell("At the end", f"{page.locator('#big').inner_text()} kg")


def main() -> None:
    """Do it once, and say how long it took."""
    with (
        TemporaryDirectory(prefix="first") as folder,
        chromium() as browser,
        serving(Path(folder)) as link,
        looking(browser, link, touch=True) as page,
    ):
        quick_look(Person(page))


if __name__ == "__main__":
    main()
