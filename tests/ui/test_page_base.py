"""The line that names the server in the page's first file, and nothing else changed."""

from __future__ import annotations

import asyncio

import pytest

from ui.page_base import ServerNamed, named_server

PAGE = b'<head><script type="module" src="./x.js"></script></head>'


def sent(parts, headers, method="GET", path="/order", asked=((b"accept-encoding", b"gzip"),)):
    """Return what reaches the browser of an answer in parts, and the headers the server saw."""
    seen, out = [], []

    async def app(scope, _receive, send):
        seen.extend(scope["headers"])
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        for place, part in enumerate(parts):
            more = place + 1 < len(parts)
            await send({"type": "http.response.body", "body": part, "more_body": more})

    async def send(message):
        out.append(message)

    scope = {"type": "http", "method": method, "path": path, "headers": list(asked)}
    asyncio.run(ServerNamed(app)(scope, None, send))
    return out, seen


@pytest.mark.parametrize("cut", [len(PAGE), 10, 12])
def test_the_line_stands_before_the_first_module_and_the_length_fits(cut):
    parts = [PAGE[:cut], PAGE[cut:]] if cut < len(PAGE) else [PAGE]
    headers = [(b"content-type", b"text/html; charset=utf-8"), (b"content-length", b"%d" % len(PAGE))]
    (start, body), seen = sent(parts, headers)
    assert body["body"] == named_server(PAGE)
    assert body["body"].index(b"BACKEND_BASE_URL") < body["body"].index(b"module")
    assert dict(start["headers"])[b"content-length"] == b"%d" % len(body["body"])
    assert seen == []  # a page is not asked for compressed


@pytest.mark.parametrize(
    ("headers", "method", "path"),
    [
        ([(b"content-type", b"text/javascript")], "GET", "/static/js/x.js"),
        ([(b"content-type", b"text/html"), (b"content-encoding", b"gzip")], "GET", "/order"),
        ([(b"content-type", b"text/html")], "HEAD", "/order"),
    ],
)
def test_all_else_goes_through_as_it_is(headers, method, path):
    out, seen = sent([PAGE[:9], PAGE[9:]], headers, method, path)
    assert [each.get("body") for each in out[1:]] == [PAGE[:9], PAGE[9:]]
    assert out[0]["headers"] == headers
    assert bool(seen) == ((method, path) != ("GET", "/order"))
