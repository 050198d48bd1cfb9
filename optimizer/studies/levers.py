"""Levers for time: warm water, a warmer room, an accelerator, and several of them together.

Looked for where a latest demold time keeps a job from an answer that is sure enough. Each is tried by a
design of its own, so that taking it gives just the chance and the cost that are told. Levers that no binder
of the job feels are left out: heat hastens cement alone, an accelerator the binder it is for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any, Final

from optimizer.job import Job, Price
from optimizer.materials import Catalogue, Material
from optimizer.property_model.parameters import ParameterSet
from optimizer.solution import DESIGNED, NOT_SURE, Solution
from optimizer.studies.design import design

_WATER: Final = (30.0, 35.0, 40.0)
"""Mixing water tried [degC]: warmer water sets in the bucket; assumption."""

_WARMER: Final = (3.0, 6.0)
"""Rise of the room tried [K]; assumption."""

_RISK: Final = "the pouring time shrinks as much, and the cast runs hotter"

_SAME_COST: Final = 0.01
"""Costs as near as this are one [-]: the milder step is taken."""

_SURER: Final = 0.02
"""Chance by which a lever must be surer to count as such [-]: what searches differ by."""

_MOST: Final = 3
"""Kinds of levers put together at most, and levers told where none is sure enough [count]."""

Parameters = Callable[[Job], ParameterSet | None]


@dataclass(frozen=True)
class Step:
    """One strength of one lever.

    Attributes
    ----------
    words : str
        What to do.
    risk : str
        What it brings with it.
    figure : str
        Temperature of the shop that it changes, a field of `Shop`; empty where it changes none.
    degrees : float
        What it becomes [degC].
    accelerator : str
        Material it adds; empty where it adds none.
    unpriced : bool
        True for one whose price the job does not state.
    """

    words: str
    risk: str
    figure: str = ""
    degrees: float = 0.0
    accelerator: str = ""
    unpriced: bool = False

    @property
    def edits(self) -> tuple[str, ...]:
        """The lines of the job file that do it."""
        if self.figure:
            return (f'[shop] {self.figure} = "{self.degrees:g} C"',)
        price = f'[prices.{self.accelerator}] pack = "1 kg" price = 0 (or yours)'
        return (f'materials: add "{self.accelerator}"', *([price] if self.unpriced else []))

    def taken(self, job: Job) -> Job:
        """Return a job with the change made; an accelerator without a price costs nothing in it."""
        if self.figure:
            figures: dict[str, Any] = {self.figure: self.degrees}
            return replace(job, shop=replace(job.shop, **figures))
        prices = {**job.prices, self.accelerator: Price(1.0, 0.0)} if self.unpriced else job.prices
        return replace(job, materials=(*job.materials, self.accelerator), prices=prices)


@dataclass(frozen=True)
class Lever:
    """One change, or several together, and the answer with it.

    Attributes
    ----------
    steps : tuple[Step, ...]
        What is changed.
    job : Job
        The job with the changes made; designing it again gives `solution`.
    solution : Solution
        Its answer.
    """

    steps: tuple[Step, ...]
    job: Job
    solution: Solution

    @property
    def words(self) -> str:
        """What to do."""
        return " and ".join(step.words for step in self.steps)

    @property
    def sure(self) -> bool:
        """True when all limits then hold together with the chance the job asks for."""
        return self.solution.status == DESIGNED

    @property
    def chance(self) -> float:
        """Chance that all limits then hold together [fraction]."""
        return self.solution.joint_probability or 0.0

    @property
    def cost(self) -> float:
        """Expected cost of a good vessel [currency]; accelerators without a price are not in it."""
        return self.solution.cost or 0.0

    @property
    def unpriced(self) -> tuple[str, ...]:
        """Accelerators whose price the job does not state: their money is not in the cost."""
        return tuple(step.accelerator for step in self.steps if step.unpriced)


def time_is_short(solution: Solution) -> bool:
    """Return whether a latest demold time stands in the way of an answer that is sure enough."""
    if solution.mix is None:
        return any((limit.property, limit.sense) == ("demold_time", "<=") for limit in solution.conflict)
    if solution.status != NOT_SURE:
        return False
    return any(
        (each.limit.property, each.limit.sense) == ("demold_time", "<=")
        and each.probability < solution.job.confidence
        for each in solution.limits
    )


def levers(
    job: Job,
    catalogue: Catalogue,
    parameters: Parameters = lambda job: None,
    without: Solution | None = None,
) -> tuple[Lever, ...]:
    """Return the levers with which a job has an answer that is sure enough, cheapest first.

    Of each kind the step of least cost is told, or a milder one that costs no more than 1 % more. Where no
    kind does alone, two are tried together, then three. Where none does, those that raise the chance most
    are returned, surest first; none of them is `Lever.sure`.

    Parameters
    ----------
    job, catalogue
        The job no blend can do, or none surely enough, and the figures.
    parameters
        Calibrated parameters for the materials of a job; default: those of the specs.
    without
        Answer without any lever, whose chance one must raise; None: no blend.
    """
    asked = _Asked(job, catalogue, parameters)
    best = 0.0 if without is None or without.mix is None else without.joint_probability or 0.0
    tried: list[Lever] = []
    kinds = tuple(_kinds(job, catalogue))
    for count in range(1, min(_MOST, len(kinds)) + 1):
        found = list(asked.together(count, kinds, tried))
        if any(lever.sure for lever in found):
            return tuple(
                sorted((each for each in found if each.sure), key=lambda each: (each.cost, each.words))
            )
        surest = max((lever.chance for lever in (*found, *tried)), default=0.0)
        gained = surest - max((lever.chance for lever in tried), default=best)
        tried += found
        if tried and gained < _SURER:
            break
    better = [lever for lever in tried if lever.chance >= best + _SURER and not _idle(lever, tried)]
    return tuple(sorted(better, key=lambda each: (-each.chance, each.cost, each.words))[:_MOST])


def _idle(lever: Lever, tried: Sequence[Lever]) -> bool:
    """Return whether fewer of the same steps are as sure."""
    fewer = (each for each in tried if set(each.steps) < set(lever.steps))
    return any(each.chance > lever.chance - _SURER for each in fewer)


_Kind = tuple[Step, ...]
"""Strengths of one lever, mildest first."""


@dataclass(frozen=True)
class _Asked:
    """What each try of a lever is asked of."""

    job: Job
    catalogue: Catalogue
    parameters: Parameters

    def together(self, count: int, kinds: Sequence[_Kind], tried: Sequence[Lever]) -> Iterator[Lever]:
        """Give the best lever of each choice of so many kinds; of accelerators one at most."""
        for chosen in combinations(kinds, count):
            if sum(bool(kind[0].accelerator) for kind in chosen) > 1:
                continue
            lever = self._alone(chosen[0]) if count == 1 else self._joined(chosen)
            if lever is not None:
                yield lever

    def _alone(self, kind: _Kind) -> Lever | None:
        """Return the cheapest step that is sure, or else the surest; the milder where two are alike."""
        best: Lever | None = None
        for step in kind:
            lever = self._tried((step,))
            if lever is not None and (best is None or _beats(lever, best)):
                best = lever
        return best

    def _joined(self, kinds: Sequence[_Kind]) -> Lever | None:
        """Return several kinds at their strongest, or at their mildest where that does as well."""
        strong, mild = (tuple(kind[place] for kind in kinds) for place in (-1, 0))
        lever = self._tried(strong)
        if lever is None or not lever.sure:
            return lever
        milder = self._tried(mild)
        return lever if milder is None or _beats(lever, milder) else milder

    def _tried(self, steps: Sequence[Step]) -> Lever | None:
        """Return a lever with its answer; None where there is no blend, or one that does without a step."""
        job = self.job
        for step in steps:
            job = step.taken(job)
        solution = design(job, self.catalogue, self.parameters(job), explain=False)
        added = {step.accelerator for step in steps if step.accelerator}
        used = solution.mix is not None and added <= solution.mix.blend.keys()
        return Lever(tuple(steps), job, solution) if used else None


def _beats(new: Lever, best: Lever) -> bool:
    if new.sure != best.sure:
        return new.sure
    if new.sure:
        return new.cost < (1.0 - _SAME_COST) * best.cost
    return new.chance >= best.chance + _SURER


def _kinds(job: Job, catalogue: Catalogue) -> Iterator[_Kind]:
    binders = {catalogue[name].kind for name in job.materials if catalogue[name].role == "binder"}
    if "csa" in binders:
        now = job.shop.water_temperature or job.shop.temperature
        water = tuple(_warm_water(degrees) for degrees in _WATER if degrees > now)
        yield from (water,) if water else ()
        yield tuple(_warm_room(job.shop.temperature + more) for more in _WARMER)
    for name in catalogue:
        material = catalogue[name]
        felt = any(material.figure(f"{kind}_acceleration", 0.0) > 0.0 for kind in binders)
        if material.kind == "accelerator" and felt and name not in job.materials:
            yield (_accelerator(job, material),)


def _warm_water(degrees: float) -> Step:
    words = f"mix with water of {degrees:g} °C"
    return Step(words, f"cement sets sooner; {_RISK}", "water_temperature", degrees)


def _warm_room(degrees: float) -> Step:
    words = f"cast in a room of {degrees:g} °C"
    return Step(words, f"its heating is not in the cost; {_RISK}", "temperature", degrees)


def _accelerator(job: Job, material: Material) -> Step:
    """Return an accelerator, at the price the job states or at none."""
    unpriced = material.name not in job.prices
    return Step(f"add {material.label}", material.note, accelerator=material.name, unpriced=unpriced)
