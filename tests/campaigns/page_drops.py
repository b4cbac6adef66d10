"""A recording on the page whose connection is lost at random moments: nothing is lost, nothing counts twice.

    python -m tests.campaigns.page_drops            # 100 moments; --drops N for others, --seed S

Three ways to lose it, each at a random moment of an entry: the phone is offline for a while; the page is loaded anew;
the entry arrives and its answer is lost. Then the person goes on with what the page asks for. At the end the file must
hold each reading once, with the value that was typed for its place.
"""

import argparse
import random
import shutil
import time
from collections import Counter
from pathlib import Path
from tempfile import mkdtemp

from playwright.sync_api import Browser, Page, Route, expect

from calib.acquire.files.run_file import RunWriter, read_run
from tests.acquire.recording.test_state_machine import LENGTHS, begun, shown
from tests.web.browser import chromium, looking, serving

WAYS = ("offline", "loaded anew", "answer lost")
SETTLED = "#recording:is([data-state=ready], [data-state=done])"
MOST_WAIT_S = 0.25  # the random moment lies within


def typed_for(task: str, place: str) -> str:
    """What a person types for what the page asks; another value for each place."""
    if not place:
        return "0"
    return f"{(0.94 if 'Come back' in task else 1.0) * shown(float(place.split()[0]) / 1000):.2f}"


def drop(page: Page, way: str, moment_s: float) -> None:
    """Lose the connection in the middle of an entry, and have it back."""
    if way == "offline":
        page.context.set_offline(True)
        page.click("#take")
        time.sleep(moment_s)
        page.context.set_offline(False)
    elif way == "loaded anew":
        page.click("#take", no_wait_after=True)
        time.sleep(moment_s / 5)
        page.reload()
    else:

        def lose(route: Route) -> None:
            route.fetch()
            route.abort()
            page.unroute("**/measure/*", lose)

        page.route("**/measure/*", lose)
        page.click("#take")


def recorded(browser: Browser, folder: Path, drops: int, chance: random.Random) -> Counter[str]:
    """One recording with so many drops among its entries; how often each way was taken.

    Raises:
        AssertionError: A reading is missing, twice, or not what was typed.
    """
    path = folder / "B1.run.csv"
    RunWriter.create(path, begun(cycles=1).head).close()
    dropped_at = set(chance.sample(range(10), min(drops, 10)))
    ways: Counter[str] = Counter()
    with serving(folder) as link, looking(browser, link, drops=True) as page:
        page.goto(link.split("/enter")[0] + "/measure/B1")
        for entry in range(30):
            page.locator(SETTLED).wait_for(timeout=15_000)
            task, place = page.locator("#task").inner_text(), page.locator("#place").inner_text()
            if entry == 10 or ("slack" in task and entry):
                break
            page.fill("#value", typed_for(task, place))
            if entry in dropped_at:
                way = chance.choice(WAYS)
                ways[way] += 1
                drop(page, way, chance.uniform(0, MOST_WAIT_S))
                if way == "loaded anew":  # it was taken or not: the page says which
                    page.locator(SETTLED).wait_for(timeout=15_000)
                    if page.locator("#place").inner_text() == place and page.locator("#task").inner_text() == task:
                        page.fill("#value", typed_for(task, place))
                        page.click("#take")
            else:
                page.click("#take")
            expect(page.locator("#task")).to_be_visible()
            page.wait_for_function(
                "([task, place]) => document.getElementById('task').textContent !== task"
                " || document.getElementById('place').textContent !== place",
                arg=[task, place],
                timeout=15_000,
            )
    check(path)
    return ways


def check(path: Path) -> None:
    """Each place once, with its own value, in order."""
    run = read_run(path)
    wanted = [(x, "loading", shown(x)) for x in LENGTHS] + [(x, "unloading", 0.94 * shown(x)) for x in LENGTHS[-2::-1]]
    found = [(round(r.length or 0.0, 4), r.branch, round((r.force or 0.0) / 9.80665, 2)) for r in run.readings]
    assert found == [(x, branch, round(kilos, 2)) for x, branch, kilos in wanted], found
    assert [r.kind for r in run.rows] == ["zero", *["reading"] * 9], "no row twice, none struck"


def main() -> None:
    """Run it and say what was lost."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--drops", type=int, default=100)
    options.add_argument("--seed", type=int, default=1)
    wanted = options.parse_args()
    chance, ways, begun_s = random.Random(wanted.seed), Counter[str](), time.monotonic()
    with chromium() as browser:
        while sum(ways.values()) < wanted.drops:
            folder = Path(mkdtemp(prefix="drops"))
            try:
                ways += recorded(browser, folder, min(10, wanted.drops - sum(ways.values())), chance)
            finally:
                shutil.rmtree(folder, ignore_errors=True)
    said = ", ".join(f"{way} {ways[way]}" for way in WAYS)
    print(f"{sum(ways.values())} moments ({said}): 0 lost, 0 twice, in {time.monotonic() - begun_s:.0f} s.")


if __name__ == "__main__":
    main()
