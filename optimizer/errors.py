"""Every error vesselblend raises on purpose, as one tree.

::

    VesselblendError            exit code 1: internal error, or a stage that cannot go on
    |-- QuantityError           a text that is not a quantity of the wanted kind
    |-- FileFaults              exit code 4: one or more faults of a file, all at once
    |-- UnknownMaterial         a name the catalogue does not hold, with the three nearest
    |-- BookError               exit code 4: the trial book's file; see `optimizer.trials.trial_errors`
    |-- NoBlend                 exit code 3: no blend meets the limits
    `-- NoVerdict               exit code 5: too little data for a verdict

An error is a repair instruction: where it is, the value read, what is allowed, what to do.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

_LONGEST = 120
"""Letters of a value that are repeated to its writer [count]."""


def short(value: object) -> str:
    """Return a value as text, its middle left out where it is long: an error is read on a terminal.

    Examples
    --------
    >>> short("12 MPa"), len(short("9" * 5000))
    ('12 MPa', 120)
    """
    text = str(value)
    half = (_LONGEST - 3) // 2
    return text if len(text) <= _LONGEST else f"{text[: half + 1]}...{text[-half:]}"


def printable(text: str) -> str:
    r"""Return text of a stranger's file without anything that would steer a terminal.

    Examples
    --------
    >>> printable("Tumbler\x1b[31m, white\n")
    'Tumbler [31m, white '
    """
    return "".join(letter if letter.isprintable() else " " for letter in text)


class VesselblendError(Exception):
    """Base of all errors raised on purpose; `exit_code` is what the command line returns."""

    exit_code = 1


@dataclass(frozen=True)
class Fault:
    """One fault of one value in a file or on a form.

    Attributes
    ----------
    where : str
        ``path:key`` for files (``job.toml:limits.demold_time``), the field's name for forms.
    value : str
        The value as read.
    allowed : str
        What would be accepted.
    repair : str
        What to do, as one imperative sentence.
    """

    where: str
    value: str
    allowed: str
    repair: str

    def __str__(self) -> str:
        r"""Return the fault as one line of text; what no terminal should act on is spelled out.

        Examples
        --------
        >>> str(Fault("--blend", "a", "a name", "Write b\x1b instead."))
        '--blend: read a; allowed: a name. Write b\\x1b instead.'
        """
        words = f"{self.where}: read {self.value}; allowed: {self.allowed}. {self.repair}"
        return words if words.isprintable() else "".join(map(_printable, words))


def _printable(sign: str) -> str:
    return sign if sign.isprintable() else repr(sign)[1:-1]


class QuantityError(VesselblendError, ValueError):
    """A text that is not a quantity of the wanted kind: carries value, allowed and repair."""

    exit_code = 4

    def __init__(self, value: object, allowed: str, repair: str) -> None:
        self.value, self.allowed, self.repair = short(value), allowed, repair
        super().__init__(f"read {self.value!r}; allowed: {allowed}. {repair}")

    def at(self, where: str) -> Fault:
        """Return the same complaint as a `Fault` of the place `where`."""
        return Fault(where, repr(self.value), self.allowed, self.repair)


class FileFaults(VesselblendError):
    """All faults of one file, raised together so that one look repairs them all."""

    exit_code = 4

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class UnknownMaterial(VesselblendError, KeyError):
    """A material name the catalogue does not hold; `nearest` are the three most alike."""

    exit_code = 4

    def __init__(self, name: str, nearest: tuple[str, ...]) -> None:
        self.name, self.nearest = name, nearest
        super().__init__(name)

    def __str__(self) -> str:
        """Return the error with the nearest names."""
        return f"no material named {self.name!r}; nearest: {', '.join(self.nearest) or 'none'}"


class NoBlend(VesselblendError):
    """No blend meets the limits; an answer, not a crash."""

    exit_code = 3


class NoVerdict(VesselblendError):
    """Too little is known to say meets or fails."""

    exit_code = 5
