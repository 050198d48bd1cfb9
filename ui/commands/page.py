"""``vesselblend page``: the same work in a browser, on this machine only."""

from __future__ import annotations

import importlib.util

import click

from optimizer.errors import VesselblendError

_LAUNCHER = "ui.page_launcher"


@click.command(short_help="Open the same work in a browser, on this machine only.")
@click.option(
    "--port", type=click.IntRange(1024, 65535), default=8501, show_default=True, help="First port to try."
)
@click.option("--browser/--no-browser", default=True, show_default=True, help="Open a browser window.")
def page(port: int, browser: bool) -> int:
    """Open the page: the same work in a browser, served to this machine alone."""
    if importlib.util.find_spec(_LAUNCHER) is None:
        raise VesselblendError("This build of vesselblend holds no page; use the other commands.")
    launcher = importlib.import_module(_LAUNCHER)
    return int(launcher.run(port=port, open_browser=browser) or 0)
