"""Things as keys by which they are, not by what they hold: for caches of what large records compile to."""

from __future__ import annotations

from typing import Generic, TypeVar

__all__ = ["Same"]

Thing = TypeVar("Thing")


class Same(Generic[Thing]):
    """One thing as a key: equal to itself alone, however large it is.

    Examples
    --------
    >>> one, other = [1], [1]
    >>> Same(one) == Same(one), Same(one) == Same(other)
    (True, False)
    """

    def __init__(self, thing: Thing) -> None:
        self.thing = thing

    def __hash__(self) -> int:
        """Return the hash of its identity."""
        return id(self.thing)

    def __eq__(self, other: object) -> bool:
        """Return whether the other key holds the same thing."""
        return isinstance(other, Same) and other.thing is self.thing
