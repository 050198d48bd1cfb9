"""The answer as one frozen record, and its certification from the property functions alone."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from optimizer.job import DAMP_CLASSES, Job, Limit
from optimizer.nomenclature import CAUTIONS, quantity
from optimizer.tables import data_frame, html_lines, html_table
from optimizer.units import odds_words, show, show_amount

if TYPE_CHECKING:
    import pandas as pd

DESIGNED, NOT_SURE, NO_BLEND = "designed", "not sure enough", "no blend meets the limits"
DESIGNS = (DESIGNED, NOT_SURE, NO_BLEND)
"""Statuses of a design; a check's are the verdict words."""

WITH_ITS_CHANCE = "with its chance"
"""How a limit is judged that counts in the joint chance."""

BURN_FIRST, NO_PRICE = "burn one first", "no price"
"""Why a limit does not: heat in use that nobody has measured, a cost without prices."""

LEAST_WORTH: Final = 0.02
"""Worth of a trial for each vessel planned below which casting for knowledge stops [currency]."""


@dataclass(frozen=True)
class ExpectedCost:
    """Cost of one good vessel with every step at its probability: coats, turns, drying, postage.

    Attributes
    ----------
    value : float
        Mean of the draws [currency].
    low, high : float
        5 % and 95 % point of the draws, widened to hold the mean [currency].
    parts : Mapping[str, float]
        Mean of each part [currency]; they add up to `value`.
    """

    value: float
    low: float
    high: float
    parts: Mapping[str, float]


@dataclass(frozen=True)
class Room:
    """How much of something may be missing or too much [g]; infinity where no error looked at matters."""

    less: float
    more: float

    def times(self, factor: float) -> Room:
        """Return both multiplied by `factor`."""
        return Room(self.less * factor, self.more * factor)


@dataclass(frozen=True)
class Stands:
    """How far a weighing may be off before the chance of all limits falls by ten points.

    Attributes
    ----------
    vessels : int
        Vessels of the mix.
    powder : str
        The largest powder of the mix.
    water_room, powder_room : Room
        Room of the water and of that powder, in the mix weighed [g].
    """

    vessels: int
    powder: str
    water_room: Room
    powder_room: Room


@dataclass(frozen=True)
class Prediction:
    """One property of the answer.

    Attributes
    ----------
    value, low, high : float
        Best value, 5 % and 95 % points [`unit`].
    unit : str
        Unit of the three.
    evidence : str
        What it rests on, a key of `optimizer.verdict.evidence.EVIDENCE`.
    use : str
        What it is good for, a key of `optimizer.nomenclature.USES`.
    """

    value: float
    low: float
    high: float
    unit: str
    evidence: str
    use: str


@dataclass(frozen=True)
class LimitPrice:
    """What moving a limit by one step does to the objective, each side solved again.

    Attributes
    ----------
    step : float
        Size of the step [the property's unit].
    loosen, tighten : float | None
        Change of the objective [its unit]; None when no blend meets the tightened limit.
    """

    step: float
    loosen: float | None
    tighten: float | None


@dataclass(frozen=True)
class LimitVerdict:
    """One limit judged.

    Attributes
    ----------
    limit : Limit
        The bound.
    unit : str
        Its unit.
    value, margin : float
        Best value and signed distance to the bound, positive when met [unit].
    probability : float
        Chance that the limit is met.
    verdict : str
        ``holds`` (chance at least the job's confidence), ``fails`` (at most one less it) or ``uncertain``.
    judged : str
        `WITH_ITS_CHANCE`; or why it stands outside the joint chance: `BURN_FIRST`, `NO_PRICE`.
    met : bool
        Whether the limit is met at best values.
    price : LimitPrice | None
        What the limit costs; None where not asked.
    """

    limit: Limit
    unit: str
    value: float
    margin: float
    probability: float
    verdict: str
    judged: str = WITH_ITS_CHANCE
    met: bool = True
    price: LimitPrice | None = None


@dataclass(frozen=True)
class WeighedMix:
    """What to weigh for one filled cavity, before waste.

    Attributes
    ----------
    grams : Mapping[str, float]
        By material and ``water`` [g].
    blend : Mapping[str, float]
        Share of the dry mass by material [-].
    water_ratio : float
        Water per dry mass [-].
    per_liter : tuple[float, ...]
        The mix in kilograms per liter, in the problem's order, water last.
    """

    grams: Mapping[str, float]
    blend: Mapping[str, float]
    water_ratio: float
    per_liter: tuple[float, ...]


@dataclass(frozen=True)
class Proof:
    """How near the answer is to the best this model allows.

    Attributes
    ----------
    proved : bool
        True when the bound is within the asked gap.
    bound : float
        No mix of this model that meets the limits is better than this [objective's unit].
    gap : float
        Distance of answer and bound over the answer [-].
    seconds : float
        Time spent.
    finished : bool
        False when the time limit ended the search.
    infeasible : bool
        True when it is proved that no blend meets the limits.
    unused : tuple[str, ...]
        Limits the proof had to leave out (the bound still holds).
    """

    proved: bool
    bound: float
    gap: float
    seconds: float
    finished: bool
    infeasible: bool = False
    unused: tuple[str, ...] = ()


@dataclass(frozen=True)
class Relaxation:
    """One change that makes the limits possible, confirmed by solving again.

    Attributes
    ----------
    limits : tuple[Limit, ...]
        The changed limits with their new bounds.
    objective : float
        Objective of the blend found with them [its unit].
    """

    limits: tuple[Limit, ...]
    objective: float


SECOND_CHOICE: Final = "second choice"
"""How the name of an alternative begins that is nearly as good as the best blend."""


@dataclass(frozen=True)
class Alternative:
    """Another blend worth knowing: a second choice, or a single binder at the same limits.

    Attributes
    ----------
    name : str
        Why it is shown.
    blend : Mapping[str, float]
        Share of the dry mass by material; empty when there is none.
    water_ratio : float
        Water per dry mass [-].
    objective : float | None
        Its objective; None when it does not meet the limits.
    fails : tuple[str, ...]
        Properties whose limits it does not meet.
    """

    name: str
    blend: Mapping[str, float]
    water_ratio: float
    objective: float | None
    fails: tuple[str, ...] = ()


@dataclass(frozen=True)
class TrialWorth:
    """What a trial of one blend is worth beside today's design, see `optimizer.studies.trial_worth`.

    Attributes
    ----------
    mix : tuple[float, ...]
        Kilograms per liter by material and, last, of water [kg/L].
    blend : Mapping[str, float]
        Share of the dry mass by material [-].
    water_ratio : float
        Water per dry mass [-].
    chance : float
        Chance that all its limits hold [-].
    cost_if_it_holds : float
        Cost expected of a good vessel in the draws in which they do [currency].
    saves : float
        What a vessel then costs less than today's design [currency]; than it and its trials, where it is not
        sure enough.
    trial_cost : float
        What the cast costs [currency].
    vessels : float
        Vessels planned [count].
    """

    mix: tuple[float, ...]
    blend: Mapping[str, float]
    water_ratio: float
    chance: float
    cost_if_it_holds: float
    saves: float
    trial_cost: float
    vessels: float

    @property
    def gain(self) -> float:
        """What it may save over the vessels planned, at its chance [currency]."""
        return self.chance * max(self.saves, 0.0) * self.vessels

    @property
    def worth(self) -> float:
        """The same less what the cast costs [currency]."""
        return self.gain - self.trial_cost

    @property
    def pays(self) -> bool:
        """True where the cast is worth `LEAST_WORTH` or more for each vessel planned."""
        return self.worth >= LEAST_WORTH * self.vessels

    @property
    def pays_from_vessels(self) -> float:
        """Vessels from which the cast pays for itself; infinite where it saves nothing [count]."""
        each = self.chance * self.saves
        return float(math.ceil(self.trial_cost / each)) if each > 0.0 else math.inf


@dataclass(frozen=True)
class Solution:
    """Everything `design` and `check` answer.

    Attributes
    ----------
    status : str
        Of a design ``designed``, ``not sure enough`` or ``no blend meets the limits``; of a check ``holds``,
        ``uncertain`` or ``fails``.
    job : Job
        The question.
    mix : WeighedMix | None
        What to weigh; None when there is no blend.
    properties : Mapping[str, Prediction]
        Every property but cost.
    limits : tuple[LimitVerdict, ...]
        Every limit judged.
    expected : ExpectedCost | None
        What one good vessel costs, with what is not known; None without prices.
    parts_at_best_values : Mapping[str, float]
        Money in one good vessel at best values, by part [currency]; empty without prices.
    turns, coats : int
        Castings of a mold per day, coats of sealer.
    proof : Proof | None
        The certificate, where asked.
    cautions : tuple[str, ...]
        Keys into `optimizer.verdict.evidence.CAUTIONS`.
    relaxations : tuple[Relaxation, ...]
        Smallest changes, when no blend meets the limits.
    conflict : tuple[Limit, ...]
        Limits that stand against each other, when no blend meets them.
    alternatives : tuple[Alternative, ...]
        Second choices and single binders.
    price_switches : Mapping[str, float]
        Rise of each used material's price before another blend is cheaper [fraction of its price].
    nominal : Alternative | None
        The answer judged at best values, beside one held with its chance.
    joint_probability : float | None
        Chance that all limits hold together, those that are open left out; None without a blend.
    decisive : Limit | None
        The limit that takes most of that chance; None where none takes any.
    stands : Stands | None
        How far a weighing may be off; None where not asked.
    worth_a_trial : tuple[TrialWorth, ...]
        The trial of a cheaper blend that is worth most; empty where none pays, or where not asked.
    fingerprint : str
        sha256 of job, figures, calibration, version, and of blend and water where the caster named them.
    notes : tuple[str, ...]
        What a caster should know about this answer.
    barred_by : tuple[str, ...]
        Rules of mixing that this blend breaks; without a blend, those any one of which keeps out blends that
        meet the limits at best values.
    verdict : str
        ``holds``, ``uncertain`` or ``fails`` of the blend, however it was found; empty without one.
    """

    status: str
    job: Job
    mix: WeighedMix | None = None
    properties: Mapping[str, Prediction] = field(default_factory=dict)
    limits: tuple[LimitVerdict, ...] = ()
    expected: ExpectedCost | None = None
    parts_at_best_values: Mapping[str, float] = field(default_factory=dict)
    turns: int = 0
    coats: float = 0.0
    proof: Proof | None = None
    cautions: tuple[str, ...] = ()
    relaxations: tuple[Relaxation, ...] = ()
    conflict: tuple[Limit, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    price_switches: Mapping[str, float] = field(default_factory=dict)
    nominal: Alternative | None = None
    joint_probability: float | None = None
    decisive: Limit | None = None
    stands: Stands | None = None
    worth_a_trial: tuple[TrialWorth, ...] = ()
    fingerprint: str = ""
    notes: tuple[str, ...] = ()
    barred_by: tuple[str, ...] = ()
    verdict: str = ""

    @property
    def cost(self) -> float | None:
        """Expected cost of one good vessel [currency]; None without prices, or where it has no end."""
        if self.expected is None or not math.isfinite(self.expected.value):
            return None
        return self.expected.value

    @property
    def cost_parts(self) -> Mapping[str, float]:
        """Expected money in one good vessel by part [currency]; empty without prices."""
        return {} if self.expected is None else self.expected.parts

    @property
    def cost_at_best_values(self) -> float | None:
        """Cost of one good vessel with every property at its best value [currency], None without prices."""
        return sum(self.parts_at_best_values.values()) if self.parts_at_best_values else None

    @property
    def named_mix(self) -> tuple[Mapping[str, float], float] | None:
        """Shares and water ratio of a blend the caster named; None where the job alone led to the answer."""
        if self.mix is None or self.status in DESIGNS:
            return None
        return self.mix.blend, self.mix.water_ratio

    def table(self) -> pd.DataFrame:
        """Return every property, one a row by its name: value, likely range, unit and what it rests on."""
        rows = (
            {"property": name, "value": p.value, "low": p.low, "high": p.high, "unit": p.unit}
            | {"evidence": p.evidence, "use": p.use}
            for name, p in self.properties.items()
        )
        return data_frame(rows, "property")

    def _repr_html_(self) -> str:
        """Return the answer for a notebook: what to weigh, the limits, and what to beware of."""
        return "".join(_html(self))


def shown(name: str, value: float) -> str:
    """Return a value [the property's unit] of one of `optimizer.nomenclature.PROPERTIES` as people read it.

    Examples
    --------
    >>> shown("demold_time", 44.6), shown("damp_risk", 1.0)
    ('45 min', 'medium')
    """
    return DAMP_CLASSES[int(value)] if name == "damp_risk" else show(value, name)


def _html(solution: Solution) -> Iterator[str]:
    yield html_lines([f"{solution.job.title}: {solution.status}"])
    if solution.mix is not None:
        yield html_table(
            ("weigh for one vessel", ""),
            [(name, show_amount(mass, "g")) for name, mass in solution.mix.grams.items()],
        )
    if solution.limits:
        heads = ("limit", "bound", "best value", "verdict", "chance")
        yield html_table(heads, [_limit_cells(each) for each in solution.limits])
    if solution.cost is not None:
        yield html_lines([f"One good vessel: {show(solution.cost, 'cost')} {solution.job.currency}."])
    yield html_lines(_change(solution, each) for each in solution.relaxations)
    yield html_lines((*solution.notes, *(CAUTIONS[key] for key in solution.cautions)))


def _limit_cells(judged: LimitVerdict) -> tuple[str, ...]:
    name, bound = judged.limit.property, judged.limit.bound
    chance = odds_words(judged.probability) if judged.judged == WITH_ITS_CHANCE else judged.judged
    asked = f"{judged.limit.sense} {shown(name, bound)}"
    return (quantity(name).label, asked, shown(name, judged.value), judged.verdict, chance)


def _change(solution: Solution, change: Relaxation) -> str:
    moved = " and ".join(
        f"{quantity(x.property).label} {x.sense} {shown(x.property, x.bound)}" for x in change.limits
    )
    best = shown(solution.job.objective, change.objective)
    return f"A blend is possible with {moved}: {quantity(solution.job.objective).label} {best}."
