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
from ui.palette import DARK, LIGHT, chart_colors

__all__ = ["SETTINGS", "free_port", "run", "settings"]

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


def run(port: int | None = None, open_browser: bool = True, host: str = "127.0.0.1") -> int:
    """Serve the page until it is stopped.

    Parameters
    ----------
    port : int | None
        First port to try; None begins at 8501.
    open_browser : bool
        True opens a browser window.
    host : str
        Address to listen on; anything but the loopback address lets other machines in.

    Returns
    -------
    int
        Exit code.

    Raises
    ------
    VesselblendError
        If no port near the wanted one is free.
    """
    import streamlit as st

    found = free_port(_FIRST_PORT if port is None else port, host)
    print(f"The page is at http://{host}:{found} (stop it with Ctrl+C)", flush=True)  # noqa: T201  its one line
    st.App(_APP).run(config=settings(found, host, open_browser))
    return 0


def settings(port: int, host: str, open_browser: bool) -> dict[str, Any]:
    """Return all settings of one start."""
    return {
        **SETTINGS,
        "server.address": host,
        "server.port": port,
        "server.headless": not open_browser,
    }


def free_port(first: int, host: str = "127.0.0.1") -> int:
    """Return the first free port from `first` on.

    Raises
    ------
    VesselblendError
        If none of the next fifty is free.
    """
    for port in range(first, min(first + _TRIES, 65536)):
        with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError:
                continue
            return port
    raise VesselblendError(f"No port from {first} to {first + _TRIES - 1} is free on {host}; name another.")
