"""Requests nobody makes by hand: the page's own forms filled with nonsense, nonsense addresses; no fault, no leak."""

from html.parser import HTMLParser
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from urllib.parse import quote

from starlette.testclient import TestClient

from calib.frozen import dataclass
from calib.web.access import Doorkeeper
from calib.web.views import CHANGES, VIEWS, page_of
from tests.campaigns.attack.tally import Tally
from tests.web.stocked import VIEWS as SHOWN
from tests.web.stocked import stocked

HOST = "127.0.0.1:8765"
WORDS = (
    "", "KNEE", "B07", "../../etc/passwd", "%2e%2e%2f", "x" * 3000, "<script>", "\x00", "=1+1", "1e308", "-1", "nan",
    "é", "1.6m", "5e-324", "KNEE.run.csv", "\u202e", "kg", "lb", "[]", "{}", "--json", "/etc/passwd", "\r\nX: y",
)  # fmt: skip
KEPT = ("*.profile.json", "*.rig.toml", "evening.csv")  # no form changes these
AS_SHOWN = 0.6  # of the fields are sent as the page shows them, or an attack would end at the first


@dataclass(frozen=True)
class Form:
    """A form as a view shows it."""

    method: str
    address: str
    fields: tuple[tuple[str, str], ...]  # names, with the value each stands at


class _Forms(HTMLParser):
    """Finds the forms of a page; a choice gives a field for each of its values."""

    def __init__(self, address: str) -> None:
        super().__init__()
        self.found: list[Form] = []
        self._address, self._open = address, Form("", "", ())
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        of = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._open = Form(of.get("method", "get"), of.get("action", self._address), ())
        elif tag == "select":
            self._select = of.get("name", "")
        elif tag in ("input", "button", "option"):
            name = self._select if tag == "option" else of.get("name", "")
            if name:
                fields = (*self._open.fields, (name, of.get("value", "")))
                self._open = Form(self._open.method, self._open.address, fields)

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.found.append(self._open)


def forms_of(browser: TestClient) -> list[Form]:
    """Every form of every view."""
    found = []
    for address in SHOWN:
        parser = _Forms(address.partition("?")[0])
        parser.feed(browser.get(address).text)
        found += parser.found
    return found


def requests(rng: Random, count: int) -> Tally:
    """So many made-up requests of somebody who was let in, some from elsewhere."""
    tally = Tally("requests to the page nobody's browser makes")
    with TemporaryDirectory() as name:
        folder = Path(name) / "bands"
        folder.mkdir()
        stocked(folder)
        before = {path: path.read_bytes() for kind in KEPT for path in folder.glob(kind)}
        door = Doorkeeper(frozenset({HOST}), clock=lambda: 0.0)
        with TestClient(page_of(folder, door), base_url=f"http://{HOST}", raise_server_exceptions=False) as browser:
            browser.get("/enter", params={"code": door.new_code()})
            forms = forms_of(browser)
            for bucket in door.sessions.values():
                bucket.left = 1e9  # how fast one may ask is tried elsewhere
            for _ in range(count):
                tally.count(_filled(browser, rng, rng.choice(forms)) if rng.random() < 0.7 else _lost(browser, rng))
        changed = [path.name for path, data in before.items() if path.read_bytes() != data]
        outside = [p.name for p in Path(name).iterdir() if p != folder]
        tally.lost += len(changed)
        if changed or outside:
            tally.count(f"changed {changed}, written outside {outside}")
    return tally


def _filled(browser: TestClient, rng: Random, form: Form) -> str:
    """A form of the page, some of its fields as they stand and some not."""
    fields = {
        name: value if rng.random() < AS_SHOWN else rng.choice(WORDS)
        for name, value in rng.sample(form.fields, len(form.fields))
        if rng.random() < 0.95
    }
    return _sent(browser, rng, form.method, form.address, fields)


def _lost(browser: TestClient, rng: Random) -> str:
    """An address that no link leads to."""
    method = rng.choice(("get", "post"))
    path = rng.choice([p for p in (CHANGES if method == "post" else VIEWS) if not p.endswith("/live")])
    while "{" in path:
        start, end = path.index("{"), path.index("}")
        path = path[:start] + (quote(rng.choice(WORDS)) or "x") + path[end + 1 :]
    return _sent(browser, rng, method, path, {"entry": rng.choice(WORDS), "id": rng.choice(WORDS)})


def _sent(browser: TestClient, rng: Random, method: str, path: str, fields: dict[str, str]) -> str:
    """What went wrong with a request; "" where nothing did."""
    if method == "post":
        origin = "http://evil.example" if rng.random() < 0.1 else f"http://{HOST}"
        answer = browser.post(path, data=fields, headers={"origin": origin})
    else:
        answer = browser.get(path, params=fields)
    leaks = any(word in answer.text for word in ("root:", "Traceback", "<script>"))
    if answer.status_code >= 500 or leaks:
        return f"{method} {path[:80]} {str(fields)[:200]}: {answer.status_code}"
    return ""
