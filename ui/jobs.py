"""What a command reads: the job, the catalogue, a date, and a blend typed in one line.

The page keeps the selected blend as such a line, too, and shows it in its address.
"""

from __future__ import annotations

import calendar
import datetime as dt
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Final

from optimizer.errors import Fault, FileFaults, NoBlend, QuantityError, VesselblendError
from optimizer.fingerprint import fingerprint
from optimizer.job import Job
from optimizer.jobfile import parse_job, read_job, template
from optimizer.materials import Catalogue, unknown_repair
from optimizer.specs import load_catalogue
from optimizer.toml_files import LARGEST_FILE, decoded, shown_key, shown_value
from optimizer.units import parse
from ui.delivery import STANDARD, read_stdin, say

if TYPE_CHECKING:
    from optimizer.calibration.record import Calibration
    from optimizer.property_model.parameters import ParameterSet
    from optimizer.solution import Solution

_STDIN: Final = "standard input"
_LONGEST: Final = 2000
_NEXT: Final = re.compile(r"\s*[,;\n]\s*(?![\s\d])")
"""A comma parts two materials unless a digit follows: then it is a decimal comma."""

_EXAMPLE: Final = '"gypsum_cement=50, rapid_set_mortar=50"'
_MOST: Final = 1e6
_WHOLE: Final = 100.0
_SLACK: Final = 0.5

_DAY: Final = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")

_DIGITS: Final = 12
DESIGNED: Final = ""
"""Stands for the design's own answer."""


@dataclass(frozen=True)
class Asked:
    """A job with the figures it is asked with.

    Attributes
    ----------
    job, catalogue : Job, Catalogue
        The question, and the materials its names belong to.
    calibration : Calibration | None
        What the studio's trials taught.
    named : str
        What faults call the job's file.
    """

    job: Job
    catalogue: Catalogue
    calibration: Calibration | None = None
    named: str = ""

    def require_prices(self, *, always: bool = False) -> None:
        """Refuse the job where money counts and a material has no price.

        Parameters
        ----------
        always : bool
            True where money counts whatever objective and limits say [-].

        Raises
        ------
        FileFaults
            One fault per unpriced material.
        """
        from optimizer.problem import counts_money, price_faults

        job = self.job
        faults = price_faults(job, job.materials, self.named) if always or counts_money(job) else ()
        if faults:
            raise FileFaults(faults)

    def from_stock(self, vessels: int) -> Asked:
        """Return the question with the shelf's materials alone; `FileFaults` if nothing is on it."""
        from optimizer.studies.check import from_stock

        return replace(self, job=from_stock(self.job, vessels, self.named))

    @property
    def trials(self) -> int:
        """Trials the figures were calibrated on [count]."""
        return len(self.calibration.trials) if self.calibration else 0

    def parameters(self, extra: Iterable[str] = ()) -> ParameterSet | None:
        """Return the calibrated parameters for the job's materials and `extra` ones; None without any."""
        if self.calibration is None:
            return None
        from optimizer.calibration.record import parameter_set

        return parameter_set(
            self.calibration, self.catalogue, tuple(dict.fromkeys((*self.job.materials, *extra)))
        )

    def signed(self, solution: Solution) -> Solution:
        """Return the answer with a fingerprint of everything it rests on, the calibration too."""
        if self.calibration is None:
            return solution
        from optimizer.calibration.files import calibration_text

        text = calibration_text(self.calibration)
        return replace(solution, fingerprint=fingerprint(self.job, self.catalogue, text, solution.named_mix))


def ask(job: str | None, specs: str | None, calibration: str | None = None) -> Asked:
    """Read a job with its figures.

    Parameters
    ----------
    job : str | None
        File of the job; None: the shipped demo; ``-``: standard input [-].
    calibration : str | None
        Calibration file, a folder whose newest one counts, or ``none``; None: as the job says [-].

    Raises
    ------
    FileFaults
        All faults of the spec files, or else all faults of the job, or else those of the calibration.
    """
    catalogue = load_catalogue(specs)
    asked = _asked(job, catalogue)
    return replace(asked, calibration=_calibration(calibration, asked))


def _asked(job: str | None, catalogue: Catalogue) -> Asked:
    if job is None:
        say("No job named: this is the shipped demo job. Write your own with: vesselblend init")
        return Asked(parse_job(template("demo"), catalogue, "demo"), catalogue, named="demo")
    if job == STANDARD:
        text = decoded(read_stdin(LARGEST_FILE), _STDIN)
        return Asked(parse_job(text, catalogue, _STDIN), catalogue, named=_STDIN)
    return Asked(read_job(Path(job), catalogue), catalogue, named=job)


def _calibration(named: str | None, asked: Asked) -> Calibration | None:
    """Return the fit named by an option, or else by the job; None for the shipped figures."""
    from optimizer.calibration.files import calibration_file, read_calibration

    if named is None and not asked.job.calibration:
        return None
    beside = asked.named not in ("demo", _STDIN) and named is None
    folder = Path(asked.named).parent if beside else Path()
    path = calibration_file(named or asked.job.calibration, folder)
    if path is None:
        return None
    found = read_calibration(path)
    say(_fit_words(path, found))
    return found


def _fit_words(path: Path, found: Calibration) -> str:
    from optimizer.jobfile.writing import demo_fit

    if path == demo_fit():
        casts = f"the {len(found.trials)} invented casts of the demo"
        return f"Figures are fitted to {casts}; --calibration none asks without them."
    return f"Calibration: {path}"


def named_calibration(named: str | None, asked: Asked) -> str:
    """Return the text of the fit an option or else the job names; empty for the shipped figures.

    Raises
    ------
    FileFaults
        If it is none.
    """
    found = _calibration(named, asked)
    if found is None:
        return ""
    from optimizer.calibration.files import calibration_text

    return calibration_text(found)


def read_blend(text: str, catalogue: Catalogue, where: str = "--blend") -> dict[str, float]:
    """Return the parts by mass of a blend typed in one line, such as ``gypsum_cement=62,5; sand=37,5``.

    Parts by mass, zero parts left out [-].

    Parameters
    ----------
    text : str
        Name=parts for each dry material, parted by commas or semicolons; all in parts or all in % [-].
    catalogue : Catalogue
        Materials that may be named.

    Raises
    ------
    FileFaults
        All faults of the text.
    NoBlend
        If nothing in it would set.
    """
    parts = read_amounts(text, catalogue, "-", where)
    percent = [text for text in _values(text) if text.endswith("%")]
    if percent and abs(sum(parts.values()) - _WHOLE) > _SLACK:
        repair = "Correct the shares, or leave the % away: parts need not add up to 100."
        fault = Fault(where, f"shares that add up to {sum(parts.values()):g} %", "100 % in all", repair)
        raise FileFaults([fault])
    if not any(catalogue[name].role == "binder" for name in parts):
        binders = ", ".join(name for name in catalogue if catalogue[name].role == "binder")
        raise NoBlend(f"This blend has no binder and will not set. Add one of: {binders}.")
    return parts


def read_amounts(
    text: str, catalogue: Catalogue, unit: str, where: str, *, water: bool = False
) -> dict[str, float]:
    """Return the amounts of a line of name=amount [`unit`], zero amounts left out.

    Parameters
    ----------
    catalogue : Catalogue
        Materials that may be named.
    unit : str
        Unit of the amounts; a plain number is taken in it, and so is a percentage where it is ``-`` [-].
    water : bool
        True when ``water`` may be named [-].

    Raises
    ------
    FileFaults
        All faults of the line.
    """
    if len(text) > _LONGEST:
        raise FileFaults(
            [Fault(where, f"{len(text)} characters", f"at most {_LONGEST}", "Shorten the blend.")]
        )
    faults: list[Fault] = []
    amounts: dict[str, float] = {}
    for item in _items(text):
        name, _, value = (part.strip() for part in item.replace(":", "=").partition("="))
        fault = (
            _name_fault(name, amounts, catalogue, where, water=water) if value else _shape_fault(item, where)
        )
        if fault is None:
            try:
                amounts[name] = _amount(value, unit)
            except QuantityError as error:
                fault = error.at(f"{where}:{name}")
        if fault is not None:
            faults.append(fault)
    if not faults and not any(amounts.values()):
        faults.append(Fault(where, shown_value(text), "at least one material", f"Write {_EXAMPLE}."))
    if faults:
        raise FileFaults(faults)
    return {name: amount for name, amount in amounts.items() if amount > 0.0}


def read_water_ratio(text: str | None, where: str = "--water-ratio") -> float | None:
    """Return a typed water ratio, such as 0.29, 0,29 or 29 %; None stays None.

    Raises
    ------
    FileFaults
        If it is none.
    """
    if text is None:
        return None
    allowed = "water per dry powder by mass, above 0 and at most 4, such as 0.29"
    try:
        ratio = parse(text, "fraction")
    except QuantityError as error:
        raise FileFaults([Fault(where, shown_value(text), allowed, error.repair)]) from None
    if not 0.0 < ratio <= 4.0:
        repair = f"Write {text} % if percent is meant." if 4.0 < ratio <= 100.0 else "Check the number."
        raise FileFaults([Fault(where, shown_value(text), allowed, repair)])
    return ratio


def _items(text: str) -> Iterator[str]:
    return (item for item in _NEXT.split(text.strip().strip(",;")) if item.strip())


def _values(text: str) -> Iterator[str]:
    return (item.replace(":", "=").partition("=")[2].strip() for item in _items(text))


def _amount(value: str, unit: str) -> float:
    if unit == "-":
        value = value.removesuffix("%").strip()
    elif value[-1].isdigit():
        value = f"{value} {unit}"
    amount = parse(value, unit)
    if not 0.0 <= amount <= _MOST:
        repair = "Leave the minus sign away, or the material out." if amount < 0.0 else "Check the number."
        raise QuantityError(value, f"0 to {_MOST:,.0f}", repair)
    return amount


def _shape_fault(item: str, where: str) -> Fault:
    return Fault(
        where, shown_value(item), f"name=parts, such as {_EXAMPLE}", "Write a number after each name."
    )


def _name_fault(
    name: str, known: dict[str, float], catalogue: Catalogue, where: str, *, water: bool
) -> Fault | None:
    if name in known:
        return Fault(f"{where}:{name}", "the name twice", "each material once", "Take one of the two out.")
    if name == "water":
        repair = "State it with --water-ratio; without it the blend's own demand is used."
        return None if water else Fault(f"{where}:water", "water", "dry materials", repair)
    if name in catalogue.materials and catalogue[name].role != "water":
        return None
    near = ", ".join(get_close_matches(name[:80].lower(), catalogue, n=3, cutoff=0.0))
    allowed = f"a material of `vesselblend materials`; nearest: {near}"
    return Fault(f"{where}:{shown_key(name)}", "an unknown material", allowed, unknown_repair(name))


def typed_day(option: str, text: str) -> dt.date:
    """Return the date of year-month-day.

    Raises
    ------
    FileFaults
        When the text is no date, or the calendar has no such day.

    Examples
    --------
    >>> typed_day("--due", "2026-11-30")
    datetime.date(2026, 11, 30)
    >>> typed_day("--due", "2026-11-31")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    optimizer.errors.FileFaults: --due: read 2026-11-31; allowed: days 01 to 30. November 2026 ...
    """
    found = _DAY.fullmatch(text.strip())
    if not found:
        raise _fault(option, text, "year-month-day", "Write the date as year-month-day, such as 2026-12-24.")
    year, month, day = (int(part) for part in found.groups())
    if not 1 <= month <= 12 or year < 1:
        repair = "Write the date as year-month-day, the month second."
        raise _fault(option, text, "a month from 01 to 12", repair)
    last = calendar.monthrange(year, month)[1]
    if not 1 <= day <= last:
        name = f"{calendar.month_name[month]} {year}"
        repair = f"{name} has {last} days: write {year:04}-{month:02}-{last} or another day."
        raise _fault(option, text, f"days 01 to {last}", repair)
    return dt.date(year, month, day)


def _fault(option: str, text: str, allowed: str, repair: str) -> FileFaults:
    return FileFaults([Fault(option, text, allowed, repair)])


def blend_text(blend: Mapping[str, float], water_ratio: float) -> str:
    """Return a blend as text: percent of the dry mass by name, and the water ratio after ``@``.

    Many digits, for a blend on the edge of a limit must still be the same blend when it is read again.

    Examples
    --------
    >>> blend_text({"gypsum_cement": 0.75, "marble_flour": 0.25}, 0.33)
    'gypsum_cement=75,marble_flour=25@0.33'
    """
    parts = ",".join(f"{name}={part}" for name, part in sorted(parts_of(blend, _DIGITS).items()))
    return f"{parts}@{water_ratio:.{_DIGITS}g}"


def parts_of(blend: Mapping[str, float], digits: int = 4) -> dict[str, str]:
    """Return the percent of each material as short text.

    Examples
    --------
    >>> parts_of({"gypsum_cement": 2 / 3, "marble_flour": 1 / 3})
    {'gypsum_cement': '66.67', 'marble_flour': '33.33'}
    """
    return {name: f"{100.0 * share:.{digits}g}" for name, share in blend.items()}


def blend_of(text: str, catalogue: Catalogue) -> tuple[dict[str, float], float | None] | None:
    """Return parts by mass and water ratio of a blend's text; None when it is none.

    Examples
    --------
    >>> from optimizer.specs import load_catalogue
    >>> blend_of("gypsum_cement=75,marble_flour=25@0.33", load_catalogue())
    ({'gypsum_cement': 75.0, 'marble_flour': 25.0}, 0.33)
    >>> blend_of("nonsense", load_catalogue()) is None
    True
    """
    parts, _, water = text.partition("@")
    try:
        blend = read_blend(parts, catalogue, "blend")
        ratio = parse(water, "fraction") if water else None
    except (VesselblendError, QuantityError):
        return None
    return (blend, ratio) if ratio is None or 0.0 < ratio <= 4.0 else None
