"""Levers for time: warm water, a warmer room, an accelerator; each tried by a design of its own.

They are looked for where a latest demold time is what no blend meets. What a lever costs and how sure its
answer is are those of the design with it: taking it gives just that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Final

from optimizer.chain.parameters import ParameterSet
from optimizer.job import Job
from optimizer.materials import Catalogue, Material
from optimizer.shop import Price
from optimizer.solution import Solution
from optimizer.studies.design import design

__all__ = ["Lever", "levers", "time_is_short"]

_WATER: Final = (30.0, 35.0, 40.0)
"""Mixing water tried [degC]: warmer water sets in the bucket; assumption."""

_WARMER: Final = (3.0, 6.0)
"""Rise of the room tried [K]; assumption."""

_RISK: Final = "the pouring time shrinks as much, and the cast runs hotter"


@dataclass(frozen=True)
class Lever:
    """One change that makes a blend possible.

    Attributes
    ----------
    words : str
        What to do.
    edit : str
        The line of the job file that makes the change.
    risk : str
        What it brings with it.
    job : Job
        The job with the change made; designing it again gives `solution`.
    solution : Solution
        Its answer.
    unpriced : str
        An accelerator whose price the job does not state: its money is not in the cost; empty otherwise.
    """

    words: str
    edit: str
    risk: str
    job: Job
    solution: Solution
    unpriced: str = ""

    @property
    def chance(self) -> float | None:
        """Chance that the demold time holds [fraction]; None where it is judged at its best value."""
        found = (
            x for x in self.solution.limits if (x.limit.property, x.limit.sense) == ("demold_time", "<=")
        )
        return next((x.probability for x in found), None)


def time_is_short(solution: Solution) -> bool:
    """Return whether a latest demold time stands in the way of an answer without a blend."""
    return solution.mix is None and any(
        (limit.property, limit.sense) == ("demold_time", "<=") for limit in solution.conflict
    )


def levers(
    job: Job, catalogue: Catalogue, parameters: Callable[[Job], ParameterSet | None] = lambda job: None
) -> tuple[Lever, ...]:
    """Return every kind of lever that makes a blend possible, cheapest first, each as mild as it allows.

    Parameters
    ----------
    job, catalogue
        The job no blend can do, and the figures.
    parameters
        Calibrated parameters for the materials of a job; default: those of the specs.
    """
    found = [
        lever
        for steps in (_warm_water(job), _warm_room(job), *_accelerators(job, catalogue))
        if (lever := _mildest(steps, catalogue, parameters)) is not None
    ]
    return tuple(sorted(found, key=_worth))


_Step = tuple[str, str, str, Job, str]
"""Words, edit, risk, job and unpriced accelerator of one strength of a lever."""


def _mildest(
    steps: Iterator[_Step], catalogue: Catalogue, parameters: Callable[[Job], ParameterSet | None]
) -> Lever | None:
    for words, edit, risk, changed, unpriced in steps:
        solution = design(changed, catalogue, parameters(changed), explain=False)
        if solution.mix is not None and (not unpriced or unpriced in solution.mix.blend):
            return Lever(words, edit, risk, changed, solution, unpriced)
    return None


def _worth(lever: Lever) -> tuple[float, str]:
    return (lever.solution.cost or 0.0, lever.words)


def _warm_water(job: Job) -> Iterator[_Step]:
    for water in _WATER:
        if water > (job.shop.water_temperature or job.shop.temperature):
            shop = replace(job.shop, water_temperature=water)
            words, edit = f"mix with water of {water:g} °C", f'shop.water_temperature = "{water:g} C"'
            yield words, edit, f"cement sets sooner; {_RISK}", replace(job, shop=shop), ""


def _warm_room(job: Job) -> Iterator[_Step]:
    for more in _WARMER:
        shop = replace(job.shop, temperature=job.shop.temperature + more)
        words = f"cast in a room of {shop.temperature:g} °C"
        edit = f'shop.temperature = "{shop.temperature:g} C"'
        yield words, edit, f"its heating is not in the cost; {_RISK}", replace(job, shop=shop), ""


def _accelerators(job: Job, catalogue: Catalogue) -> Iterator[Iterator[_Step]]:
    for name in catalogue:
        material = catalogue[name]
        if material.kind == "accelerator" and name not in job.materials:
            yield iter([_with_accelerator(job, material)])


def _with_accelerator(job: Job, material: Material) -> _Step:
    """Return the job that may use an accelerator, at the price it states or at none."""
    name = material.name
    priced = {name: job.prices.get(name, Price(1.0, 0.0))}
    changed = replace(job, materials=(*job.materials, name), prices={**job.prices, **priced})
    unpriced = "" if name in job.prices else name
    return f"add {material.label}", f"materials: add {name}", material.note, changed, unpriced
