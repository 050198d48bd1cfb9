"""Records made in code, held to the ranges of the job file: one table of ranges serves both."""

from __future__ import annotations

import math
from collections.abc import Iterable

from optimizer.errors import Fault, QuantityError
from optimizer.jobfile.kinds import Choice, Key, Number

__all__ = ["range_faults"]


def range_faults(keys: Iterable[Key], record: object, where: str) -> list[Fault]:
    """Return a fault for every number or word of a record that a job file could not hold.

    Parameters
    ----------
    keys : Iterable[Key]
        The table of the job file that the record belongs to.
    record : object
        The record; what is None there is not stated.
    where : str
        Place named in the faults.

    Examples
    --------
    >>> from optimizer.jobfile.keys import SHOP
    >>> from optimizer.shop import Shop
    >>> [(fault.where, fault.allowed) for fault in range_faults(SHOP, Shop(reject=1.0), "shop")]
    [('shop.reject', '0 or more, below 1')]
    """
    found = (
        (key, getattr(record, key.field or key.name)) for key in keys if isinstance(key, Number | Choice)
    )
    return [fault for key, value in found if value is not None for fault in _fault(key, value, where)]


def _fault(key: Number | Choice, value: float | str, where: str) -> list[Fault]:
    if isinstance(key, Number) and not math.isfinite(float(value)):
        return [Fault(f"{where}.{key.name}", f"{value}", key.range_text, "Give an ordinary number.")]
    try:
        key.read(key.write(value))  # type: ignore[arg-type]  # the record's field is of the key's kind
    except QuantityError as error:
        return [Fault(f"{where}.{key.name}", f"{value}", error.allowed, error.repair)]
    return []
