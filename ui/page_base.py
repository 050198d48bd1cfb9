"""Where the page's server is: told to each window with its first file.

A window opened at a page's own address (``/order``) first looks for the server beneath it, and asks twice in
vain (``/order/_stcore/health``). A line in that file names the server's address, so that it looks no further.
"""

from __future__ import annotations

from typing import Final

from ui.page_guard import App, Message, Receive, Send

_BEFORE: Final = b'<script type="module"'
_SCRIPT: Final = (
    b'<script>window.__streamlit = {BACKEND_BASE_URL: window.location.origin + "/"}</script>\n    '
)


def named_server(html: bytes) -> bytes:
    """Return a file with the line before its first module; a file without one as it is.

    Examples
    --------
    >>> named_server(b'<script type="module" src="x.js">').startswith(b"<script>window.")
    True
    >>> named_server(b"<p>none</p>")
    b'<p>none</p>'
    """
    return html.replace(_BEFORE, _SCRIPT + _BEFORE, 1)


class ServerNamed:
    """The page's server with that line in every HTML file it sends."""

    def __init__(self, app: App) -> None:
        self.app = app

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Hand a request on, and the line out."""
        if scope["type"] != "http" or scope["method"] != "GET":
            await self.app(scope, receive, send)
            return
        plain = [(key, value) for key, value in scope["headers"] if key.lower() != b"accept-encoding"]
        parts: list[bytes] = []
        held: list[Message] = []

        async def told(message: Message) -> None:
            if message["type"] == "http.response.start" and _is_html(message):
                held.append(message)
            elif not held:
                await send(message)
            else:
                parts.append(message.get("body", b""))
                if not message.get("more_body", False):
                    await _send_whole(send, held[0], named_server(b"".join(parts)))

        page = "." not in scope["path"].rpartition("/")[2]
        await self.app({**scope, "headers": plain} if page else scope, receive, told)


async def _send_whole(send: Send, start: Message, body: bytes) -> None:
    rest = [(key, value) for key, value in start["headers"] if key.lower() != b"content-length"]
    await send({**start, "headers": [*rest, (b"content-length", b"%d" % len(body))]})
    await send({"type": "http.response.body", "body": body})


def _is_html(start: Message) -> bool:
    headers = {key.lower(): value for key, value in start["headers"]}
    return headers.get(b"content-type", b"").startswith(b"text/html") and b"content-encoding" not in headers
