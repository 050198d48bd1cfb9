"""Fixtures of the trial book: a fresh book beside a job, and generated cases without time limit."""

from __future__ import annotations

import pytest
from hypothesis import settings

from optimizer.trials.book import TrialBook

settings.register_profile("unhurried", deadline=None, derandomize=True)
settings.load_profile("unhurried")


@pytest.fixture
def book(tmp_path):
    return TrialBook(tmp_path / "trials.db", timeout=60.0)
