"""What a vessel must bear when it leaves its mold."""

from __future__ import annotations

from typing import Final

__all__ = ["THIN_RIM"]


THIN_RIM: Final = 6.0
"""Walls below this need more strength to demold [mm]; judgement."""
