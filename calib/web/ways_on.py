"""Where a page that had to say no leads on to: the one button behind the sentence."""

from urllib.parse import quote, urlencode

from calib.use.answers.parts import Doubt
from calib.use.report.layout import sentence
from calib.web.pages import Site

HERE = {"scale-unchecked": ("Check a scale", "/scales"), "scale-check-old": ("Check a scale", "/scales")}


def step_on(doubt: Doubt) -> dict[str, str]:
    """A finding as the page shows it: what it says, what to do, and where, if the page does it."""
    words, address = HERE.get(doubt.code, ("", ""))
    do = doubt.do.partition(": bandcurve ")[0].rstrip(".") + "." if address else doubt.do
    text = sentence(doubt.text).replace("+-", "±")
    return {"text": text, "do": do.replace("+-", "±"), "words": words, "address": address}


def way_on(site: Site, path: str, query: str = "") -> dict[str, str]:
    """Words and address of what helps.

    Args:
        site: The folder.
        path: What was asked for.
        query: And how.
    """
    head, _, name = path.strip("/").partition("/")
    known = {band.address: band for band in site.lookup().register().bands} if head in ("band", "recheck") else {}
    if name in known:
        if not known[name].calibrations:
            return _to(f"Measure {name}", "/measure?" + urlencode({"band": name, "occasion": "quick"}))
        return _to(f"Band {name}", f"/band/{quote(name)}")
    if head in ("measure", "curve") and name in site.bench.names():
        return _to("Go on with the recording", f"/measure/{quote(name)}")
    if head in ("measure", "begin", "cell"):
        connects = head == "cell" or "cell=1" in query
        return _to("Choose the load cell", "/cell") if connects else _to("Measure a band", "/measure")
    if head in ("rig", "rigs", "solve", "lifters", "heights"):
        return _to("The rigs", "/rigs")
    if head in ("pairs", "recheck"):
        return _to("Measure a band", "/measure")
    if head in ("scale", "scales"):
        return _to("The scales", "/scales")
    if head in ("box", "boxes"):
        return _to("The boxes", "/boxes")
    return _to("All bands", "/")


def _to(words: str, address: str) -> dict[str, str]:
    return {"words": words, "address": address}
