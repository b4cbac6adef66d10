"""The page's view of the load cell at this computer: choose its port, its scale file, what holds the length."""

from urllib.parse import urlencode

from starlette.responses import RedirectResponse, Response

from calib.errors import BandcurveError
from calib.identity import check_id
from calib.web.cell.cells import GRIPS
from calib.web.pages import Asked, Site


def cell(site: Site, asked: Asked) -> Response:
    """Choose the load cell: its port, its scale file, what holds the length."""
    return _form(site, asked, dict(asked.request.query_params))


def _form(site: Site, asked: Asked, query: dict[str, str], wrong: str = "") -> Response:
    cells, ports = site.cells, site.cells.ports()
    likely = next(iter(ports), "") if cells.named or len(ports) == 1 else ""
    return site.render(
        asked,
        "cell.html",
        422 if wrong else 200,
        band=query.get("band", ""),
        run=query.get("run", ""),
        ports=ports,
        scales=list(cells.scales()),
        grips=GRIPS,
        wrong=wrong,
        chosen={**dict.fromkeys(("port", "scale", "capacity", "grip", "turned"), ""), "port": likely, **query},
    )


def connect(site: Site, asked: Asked) -> Response:
    """The port was chosen: open it, then on to the questions, or to the recording that goes on."""
    fields = asked.fields
    band = check_id(fields["band"].strip()) if fields.get("band") else ""
    try:
        site.cells.connect(
            fields.get("port", ""),
            fields.get("scale", ""),
            fields.get("capacity", "").strip(),
            fields.get("grip", ""),
            turned=fields.get("turned") == "yes",
        )
    except BandcurveError as error:
        return _form(site, asked, fields, str(error))
    if fields.get("run"):
        name = fields["run"]
        with site.bench.sitting(name) as sitting:
            site.cells.attach(sitting, site.bench.news.tell)
        return RedirectResponse(f"/measure/{name}", 303)
    return RedirectResponse("/measure?" + urlencode({"band": band, "occasion": "full", "cell": "1"}), 303)
