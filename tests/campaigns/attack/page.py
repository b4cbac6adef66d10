"""Requests nobody's browser makes: every address with nonsense in its place and its fields; no fault, no leak."""

from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from starlette.testclient import TestClient

from calib.web.access import Doorkeeper
from calib.web.views import CHANGES, VIEWS, page_of
from tests.campaigns.attack.kinds import SAMPLES
from tests.campaigns.attack.tally import Tally

HOST = "127.0.0.1:8765"
WORDS = (
    "", "KNEE", "B07", "../../etc/passwd", "%2e%2e%2f", "x" * 3000, "<script>", "\x00", "=1+1", "1e308", "-1", "nan",
    "é", "1.6m", "5e-324", "KNEE.run.csv", "\u202e", "kg", "lb", "[]", "{}", "--json", "/etc/passwd", "\r\nX: y",
)  # fmt: skip
FIELDS = (
    "id",
    "name",
    "line",
    "length",
    "force",
    "unit",
    "flat",
    "row",
    "value",
    "step",
    "band",
    "answer",
    "at",
    "top",
)


def requests(rng: Random, count: int) -> Tally:
    """So many made-up requests of somebody who was let in, some from elsewhere."""
    tally = Tally("requests to the page nobody's browser makes")
    with TemporaryDirectory() as name:
        folder = Path(name) / "bands"
        folder.mkdir()
        for sample in SAMPLES.glob("KNEE.*"):
            (folder / sample.name).write_bytes(sample.read_bytes())
        before = {p.name: p.read_bytes() for p in folder.iterdir()}
        door = Doorkeeper(frozenset({HOST}), clock=lambda: 0.0)
        with TestClient(page_of(folder, door), base_url=f"http://{HOST}", raise_server_exceptions=False) as browser:
            browser.get("/enter", params={"code": door.new_code()})
            for _ in range(count):
                tally.count(_asked(browser, rng))
        changed = [name for name, data in before.items() if (folder / name).read_bytes() != data]
        outside = [p.name for p in Path(name).iterdir() if p != folder]
        tally.lost += len(changed)
        if changed or outside:
            tally.count(f"changed {changed}, written outside {outside}")
    return tally


def _asked(browser: TestClient, rng: Random) -> str:
    changing = rng.random() < 0.5
    path = rng.choice([p for p in (CHANGES if changing else VIEWS) if not p.endswith("/live")])
    while "{" in path:
        start, end = path.index("{"), path.index("}")
        word = rng.choice(WORDS).replace("\r\n", "").replace("\x00", "%00").replace("?", "")
        path = path[:start] + (word.replace("[", "").replace("]", "") or "x") + path[end + 1 :]
    fields = {rng.choice(FIELDS): rng.choice(WORDS) for _ in range(rng.randrange(5))}
    origin = {"origin": rng.choice((f"http://{HOST}", "http://evil.example", "null"))} if changing else {}
    answer = browser.post(path, data=fields, headers=origin) if changing else browser.get(path, params=fields)
    if answer.status_code >= 500 or "root:" in answer.text or "Traceback" in answer.text:
        return f"{'POST' if changing else 'GET'} {path[:80]} {str(fields)[:200]}: {answer.status_code}"
    return ""
