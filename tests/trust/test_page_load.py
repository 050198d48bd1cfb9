"""Several people at one page, without browsers: nothing fails. The long run is in `tests.trust.page_load`."""

from __future__ import annotations

import asyncio
import sys

import pytest

from tests.trust.page_load import crowd, served


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads the server's memory from /proc")
def test_three_sessions_edit_at_once_without_an_error():
    with served() as (port, process):
        seen = asyncio.run(crowd(port, process, sessions=3, minutes=0.15, pause=1.0))
    assert seen.errors == []
    assert seen.opened
    assert seen.memory
