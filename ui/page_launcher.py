"""Start the page: on this machine only, without statistics, on the next free port.

Every setting is handed to Streamlit here, because a launcher in another folder does not read the
``.streamlit/config.toml`` of a checkout; a test holds the two together.
"""

from __future__ import annotations

import socket
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from optimizer.errors import VesselblendError
from optimizer.process_start import share_heaps
from ui.page_base import ServerNamed
from ui.page_guard import NAMES, OwnAddressOnly
from ui.palette import DARK, LIGHT, chart_colors
from ui.second_process import SECOND

ADDRESS: Final = "127.0.0.1"
"""Where the page listens: this machine alone can reach the loopback address."""

_APP: Final = Path(__file__).parent / "app.py"
_FIRST_PORT: Final = 8501
_TRIES: Final = 50

_NAMES: Final = {
    "primaryColor": "primary",
    "backgroundColor": "background",
    "secondaryBackgroundColor": "panel",
    "textColor": "text",
    "linkColor": "link",
    "borderColor": "border",
}


def _colors(section: str, theme: Mapping[str, str]) -> dict[str, Any]:
    colors: dict[str, Any] = {f"theme.{section}.{name}": theme[part] for name, part in _NAMES.items()}
    return {**colors, f"theme.{section}.chartCategoricalColors": chart_colors(theme)}


SETTINGS: Final[dict[str, Any]] = {
    "browser.gatherUsageStats": False,
    "server.showEmailPrompt": False,
    "server.fileWatcherType": "none",
    "server.maxUploadSize": 20,
    "server.address": ADDRESS,
    "server.allowedHosts": list(NAMES),
    "runner.magicEnabled": False,
    "client.toolbarMode": "viewer",
    "client.showErrorLinks": False,
    "client.showErrorDetails": "none",
    "global.disableWidgetStateDuplicationWarning": True,
    "theme.baseRadius": "small",
    "theme.paddingTop": "0.5rem",
    "theme.sidebar.paddingTop": "0.5rem",
    "theme.headingFontSizes": ["1.75rem", "1.4rem", "1.2rem", "1.1rem", "1rem", "1rem"],
    "theme.metricValueFontSize": "1.9rem",
    **_colors("light", LIGHT),
    **_colors("dark", DARK),
}
"""Settings of the page wherever it is started from."""


def run(port: int | None = None, open_browser: bool = True) -> int:
    """Serve the page until it is stopped.

    Parameters
    ----------
    port : int | None
        First port to try; None begins at 8501.
    open_browser : bool
        True opens a browser window.

    Raises
    ------
    VesselblendError
        If no port near the wanted one is free.
    """
    share_heaps()  # before there is a second thread
    import streamlit as st
    from starlette.middleware import Middleware

    found = free_port(_FIRST_PORT if port is None else port)
    print(f"The page is at http://{ADDRESS}:{found} (stop it with Ctrl+C)", flush=True)  # noqa: T201  its one line
    SECOND.start()
    app = st.App(_APP, middleware=[Middleware(OwnAddressOnly), Middleware(ServerNamed)])
    app.run(config=settings(found, open_browser))
    return 0


def settings(port: int, open_browser: bool) -> dict[str, Any]:
    """Return all settings of one start."""
    return {
        **SETTINGS,
        "server.port": port,
        "server.headless": not open_browser,
    }


def free_port(first: int) -> int:
    """Return the first free port from `first` on.

    Raises
    ------
    VesselblendError
        If none of the next fifty is free.
    """
    for port in range(first, min(first + _TRIES, 65536)):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((ADDRESS, port))
            except OSError:
                continue
            return port
    raise VesselblendError(
        f"No port from {first} to {first + _TRIES - 1} is free on {ADDRESS}; name another."
    )
