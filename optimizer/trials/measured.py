"""A measured figure with how far to trust it, as every measuring function of this package returns it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Measured:
    """One figure from the bench.

    Attributes
    ----------
    value : float
        Best value, in `unit`.
    spread : float
        Its standard error, in `unit`: two times in three the truth is nearer than this.
    unit : str
        Unit of the two numbers.
    method : str
        How it was measured, in one line.
    warnings : tuple[str, ...]
        What may be wrong with it, each as one sentence that says what to do.
    """

    value: float
    spread: float
    unit: str
    method: str
    warnings: tuple[str, ...] = ()
