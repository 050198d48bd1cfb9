"""Settings of the generated cases: no time limit per case, since a busy machine is no fault of a formula."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("unhurried", deadline=None, derandomize=True)
settings.load_profile("unhurried")
