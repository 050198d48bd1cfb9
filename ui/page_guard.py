"""Who may speak to the page: windows of this machine that were opened at the page's own address.

A foreign page can make a visitor's browser call this server, under its own name (as Origin) or under a name
of its own that leads here (as Host). Either is turned away before anything else sees the request. Streamlit,
asked about a foreign Origin, would look up this machine's outside address at a server of others to compare.
"""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any, Final

NAMES: Final = ("127.0.0.1", "localhost")
"""Names by which a browser on this machine reaches the page."""

_HOST: Final = re.compile(r"([a-z0-9.-]+)(:[0-9]{1,5})?")
_REFUSED: Final = b"This page answers only in windows of this machine that were opened at its own address.\n"
_POLICY: Final = 1008
"""Close code of a connection against the rules (RFC 6455, 7.4.1)."""

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Message, Receive, Send], Awaitable[None]]


def is_own(hosts: list[str], origins: list[str]) -> bool:
    """Tell whether a request names this server, and comes from a page of this server or from none.

    Parameters
    ----------
    hosts, origins : list[str]
        Its headers Host and Origin; one Host and at most one Origin are in order.

    Examples
    --------
    >>> is_own(["localhost:8501"], ["http://localhost:8501"]), is_own(["localhost:8501"], [])
    (True, True)
    >>> is_own(["localhost:8501"], ["http://pages.example"])
    False
    >>> is_own(["pages.example"], ["http://pages.example"])
    False
    """
    if len(hosts) != 1 or len(origins) > 1:
        return False
    host = hosts[0].lower()
    named = _HOST.fullmatch(host)
    same = {f"http://{host}", f"https://{host}"}
    return named is not None and named[1] in NAMES and all(origin.lower() in same for origin in origins)


class OwnAddressOnly:
    """The page's server behind a check of each request's Host and Origin."""

    def __init__(self, app: App) -> None:
        self.app = app

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Hand a request on, or turn it away."""
        if scope["type"] == "lifespan" or is_own(_headers(scope, b"host"), _headers(scope, b"origin")):
            await self.app(scope, receive, send)
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": _POLICY})
        else:
            headers = [(b"content-type", b"text/plain"), (b"content-length", b"%d" % len(_REFUSED))]
            await send({"type": "http.response.start", "status": 403, "headers": headers})
            await send({"type": "http.response.body", "body": _REFUSED})


def _headers(scope: Message, name: bytes) -> list[str]:
    return [value.decode("latin-1") for key, value in scope["headers"] if key.lower() == name]
