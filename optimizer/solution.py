"""The answer as one frozen record, and its certification from the property functions alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from optimizer.job import Job
from optimizer.shop import Limit

__all__ = [
    "Alternative",
    "LimitPrice",
    "LimitVerdict",
    "Prediction",
    "Proof",
    "Relaxation",
    "Solution",
    "WeighedMix",
]


@dataclass(frozen=True)
class Prediction:
    """One property of the answer: best value, 5 % and 95 % points, unit, and what it rests on."""

    value: float
    low: float
    high: float
    unit: str
    evidence: str


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
        ``meets``, ``fails`` or ``too close to call``.
    judged : str
        ``with its chance`` or ``at best value`` (heat without a burn test, and cost).
    price : LimitPrice | None
        What the limit costs; None where not asked.
    """

    limit: Limit
    unit: str
    value: float
    margin: float
    probability: float
    verdict: str
    judged: str = "with its chance"
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


@dataclass(frozen=True)
class Alternative:
    """Another blend worth knowing: a near tie, or a single binder at the same limits.

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
class Solution:
    """Everything `design` and `check` answer.

    Attributes
    ----------
    status : str
        ``designed``, ``no blend meets the limits``, ``meets``, ``fails`` or ``too close to call``.
    job : Job
        The question.
    mix : WeighedMix | None
        What to weigh; None when there is no blend.
    properties : Mapping[str, Prediction]
        Every property but cost.
    limits : tuple[LimitVerdict, ...]
        Every limit judged.
    cost_parts : Mapping[str, float]
        Money in one good vessel by part [currency]; empty without prices.
    turns, coats : int
        Castings of a mold per day, coats of sealer.
    proof : Proof | None
        The certificate, where asked.
    cautions : tuple[str, ...]
        Keys into `optimizer.verdict.cautions.CAUTIONS`.
    relaxations : tuple[Relaxation, ...]
        Smallest changes, when no blend meets the limits.
    conflict : tuple[Limit, ...]
        Limits that stand against each other, when no blend meets them.
    alternatives : tuple[Alternative, ...]
        Near ties and single binders.
    price_switches : Mapping[str, float]
        Rise of each used material's price before another blend is cheaper [fraction of its price].
    nominal : Alternative | None
        The answer judged at best values, beside one held with its chance.
    joint_probability : float | None
        Chance that all limits hold together, by sampling.
    fingerprint : str
        sha256 of job, figures, calibration and version.
    notes : tuple[str, ...]
        What a caster should know about this answer.
    """

    status: str
    job: Job
    mix: WeighedMix | None = None
    properties: Mapping[str, Prediction] = field(default_factory=dict)
    limits: tuple[LimitVerdict, ...] = ()
    cost_parts: Mapping[str, float] = field(default_factory=dict)
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
    fingerprint: str = ""
    notes: tuple[str, ...] = ()

    @property
    def cost(self) -> float | None:
        """Cost of one good vessel [currency], or None without prices."""
        return sum(self.cost_parts.values()) if self.cost_parts else None
