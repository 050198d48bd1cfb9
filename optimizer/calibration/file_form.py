"""The shape of a calibration file as frozen pydantic models; imported late, for pydantic takes a while."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

__all__ = ["BagForm", "CalibrationForm", "DiscrepancyForm", "FlaggedForm", "LearnedForm", "MatrixForm"]

_Number = Annotated[float, Field(allow_inf_nan=False)]
_Spread = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
_Share = Annotated[float, Field(ge=-1.0, le=1.0)]


class _Form(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class LearnedForm(_Form):
    """One figure before and after."""

    name: str
    log: bool
    prior_center: _Number
    prior_spread: _Spread
    center: _Number
    spread: _Spread
    trials: Annotated[int, Field(ge=0)]


class FlaggedForm(_Form):
    """One reading that does not fit."""

    trial: str
    reading: str
    value: _Number
    distance: _Number


class BagForm(_Form):
    """One lot beside the others."""

    material: str
    lot: str
    figure: str
    factor: _Number
    error: _Spread


class MatrixForm(_Form):
    """Lower triangle of a correlation matrix."""

    rows: list[list[_Share]]


class DiscrepancyForm(_Form):
    """Where the discrepancies from the laws are learned."""

    taught: list[str] = []
    supports: list[list[_Number]] = []


class CalibrationForm(_Form):
    """A calibration file; a file without a format is of the first."""

    format: Literal[1, 2] = 1
    date: dt.date
    version: str
    priors: str
    trials: list[str]
    materials: list[str]
    learned: list[LearnedForm]
    correlation: MatrixForm
    flagged: list[FlaggedForm] = []
    bags: list[BagForm] = []
    discrepancy: DiscrepancyForm = DiscrepancyForm()
