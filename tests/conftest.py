"""Shared fixtures: the shipped catalogue and jobs made in code."""

from __future__ import annotations

import signal
from dataclasses import replace

import pytest
from hypothesis import settings

from optimizer.job import Job
from optimizer.jobfile import parse_job, template
from optimizer.materials import Catalogue
from optimizer.specs import load_catalogue

# Where tests run in the background a shell lets Ctrl-C be ignored, and every child would inherit that: the
# tests of Ctrl-C would wait for an end that never comes.
signal.signal(signal.SIGINT, signal.default_int_handler)

# No time limit per generated case: a busy machine is no fault of a formula.
settings.register_profile("unhurried", deadline=None, derandomize=True)
settings.load_profile("unhurried")


@pytest.fixture(scope="session")
def catalogue() -> Catalogue:
    """Return the shipped material files."""
    return load_catalogue()


@pytest.fixture(scope="session")
def demo(catalogue: Catalogue) -> Job:
    """Return the shipped demo job without its invented casts: tests of the laws ask the shipped figures."""
    return replace(parse_job(template("demo"), catalogue, "demo.toml"), calibration="")


@pytest.fixture(scope="session")
def plain(demo: Job) -> Job:
    """Return the demo job without limits."""
    return replace(demo, limits=())
