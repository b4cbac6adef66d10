"""`bandcurve page`: the page beside the rack, for this computer's browser or a phone in the same network."""

import sys
from pathlib import Path
from threading import Timer
from typing import TYPE_CHECKING, Annotated

from calib.errors import UsageError
from calib.verbs.terminal import typer_later as typer

if TYPE_CHECKING:
    from calib.web.access import Doorkeeper
    from calib.web.server import Address


def command(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where your band files are.")] = Path(),
    phone: Annotated[
        bool, typer.Option("--phone", help="Let phones on the same network join: shows a code to scan.")
    ] = False,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="A port of your own; 0 takes a free one.")] = 0,
    cell: Annotated[
        list[str] | None,
        typer.Option("--cell", metavar="PORT", help="Port of a load cell that the system does not list."),
    ] = None,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Do not open a browser, only print.")] = False,
) -> int:
    """Measure and look things up on a page, in this computer's browser or on a phone beside the rack.

    Nothing leaves your network, and it works without internet. Ctrl-C stops it, and so does closing the terminal.

    \b
    Examples:
      bandcurve page
      bandcurve page ~/bands --phone
    """
    if not folder.is_dir():
        raise UsageError(f"{folder} is not a folder", remedy="name the folder your band files are in")
    from calib.web.access import Doorkeeper
    from calib.web.server import listen, serve
    from calib.web.views import load_all, page_of

    address = listen(port, phone=phone)
    door = Doorkeeper(address.hosts)

    def show() -> None:
        _show(address, door, phone=phone, browser=not no_browser and not phone)
        rest = Timer(1.0, load_all)
        rest.daemon = True
        rest.start()

    door.joined = lambda: _show(address, door, phone=phone, browser=False) if phone else None
    serve(page_of(folder.resolve(), door, cell or ()), address, show)
    return 0


def _show(address: "Address", door: "Doorkeeper", *, phone: bool, browser: bool) -> None:
    """Print how to get in: a code works once, so the next one is shown when it is used."""
    link = f"{address.url}/enter?code={door.new_code()}"
    print(f"The page is at {link}", file=sys.stderr)
    if phone:
        import segno

        from calib.verbs.door import raw

        segno.make(link, error="m").terminal(raw(sys.stderr), border=2, compact=True)
        print(
            "Scan it with a phone on this network. Each code lets in one phone; then the next code is shown.",
            file=sys.stderr,
        )
        print("Use a network you trust: others on it could read along.", file=sys.stderr)
    print("Ctrl-C stops the page.", file=sys.stderr, flush=True)
    if browser:
        import webbrowser

        webbrowser.open(link)
