"""Several people at one page, without browsers: nothing fails. The long run is in `tests.trust.page_load`."""

from __future__ import annotations

import asyncio
import sys

import pytest

from tests.page_server import page_served
from tests.trust.page_load import crowd


@pytest.mark.slow
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads the server's memory from /proc")
def test_three_sessions_edit_at_once_without_an_error(tmp_path):
    with page_served(tmp_path) as page:
        seen = asyncio.run(crowd(page, sessions=3, minutes=0.4, pause=1.0))
    assert seen.errors == []
    assert len(seen.opened) >= 3
    assert len(seen.edits) >= 3
    assert min(seen.memory) > 50.0  # the server's own process, which holds numpy and more
    assert max(seen.second) > 50.0
    assert all(grams > 0.0 for grams in seen.edits)
