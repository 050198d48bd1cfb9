"""Recipes weighed wrong by the grams told under *stands*: ``python -m tests.trust.perturbed [jobs]``.

The amounts are read from the sentence that people read, put on or taken off one mix of the shop, and the mix
is checked anew: there the chance that all limits hold together is to have fallen by ten points. All jobs are
invented.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from optimizer.calibration.files import fitted_parameters
from optimizer.materials import Catalogue
from optimizer.property_model.parameters import ParameterSet
from optimizer.solution import Solution
from optimizer.specs import load_catalogue
from optimizer.studies.check import check
from optimizer.studies.design import design
from tests.trust.castings import jobs
from ui.answer_text import stands_words
from ui.words import label_of

__all__ = ["Weighed", "told", "weighed_wrong"]

FALL = 0.10
"""Fall of the chance that the sentence speaks of [-]."""

NEAR = 0.005
"""How far from it the fall may lie beyond what the last gram told leaves open [-]."""

FARTHEST = 0.25
"""Part of the amount up to which ``any`` is looked at [-]."""

_STEPS = 4

_ROOM = re.compile(r"-(\d+)/\+(\d+) g|(any amount|\d+ g) less or (any amount|\d+ g) more")


@dataclass(frozen=True)
class Weighed:
    """One weighing wrong by what is told.

    Attributes
    ----------
    what : str
        The material, or ``water``.
    grams : float
        What is told, negative where less is weighed, in one mix [g]; infinite for any.
    nearer, further : float
        Fall of the chance half a gram nearer and half a gram further [-]; for any, the largest fall up to
        a quarter of the amount, and `FALL`.
    sooner : float
        Largest fall of the chance at less than is told [-].
    """

    what: str
    grams: float
    nearer: float
    further: float
    sooner: float

    @property
    def right(self) -> bool:
        """True where ten points are lost within the last gram told, and nowhere before."""
        return max(self.nearer, self.sooner) - NEAR <= FALL <= self.further + NEAR


def told(solution: Solution, catalogue: Catalogue) -> dict[str, tuple[float, float]]:
    """Return by material, water among them, what may be missing and too much as the sentence says [g]."""
    assert solution.stands is not None
    words = stands_words(solution.stands, catalogue)
    powder = solution.stands.powder
    rooms = [
        tuple(np.inf if x == "any amount" else float(x.removesuffix(" g")) for x in found if x)
        for found in _ROOM.findall(words)
    ]
    assert len(rooms) == 2, words
    assert f"water {_ROOM.search(words).group()}, {label_of(powder, catalogue)} " in words  # type: ignore[union-attr]
    return {"water": rooms[0], powder: rooms[1]}  # type: ignore[dict-item]


def weighed_wrong(
    solution: Solution, catalogue: Catalogue, known: ParameterSet | None = None
) -> Iterator[Weighed]:
    """Yield each weighing wrong by what the answer tells, its chances those of `check`."""
    shop = solution.job.shop
    assert solution.mix is not None
    whole = shop.molds_per_mix * (1.0 + shop.waste)
    mix = {name: grams * whole for name, grams in solution.mix.grams.items()}

    def fall(what: str, off: float) -> float:
        grams = mix | {what: mix[what] + off}
        water = grams.pop("water")
        seen = check(solution.job, grams, catalogue, water / sum(grams.values()), known)
        assert seen.joint_probability is not None
        assert solution.joint_probability is not None
        return solution.joint_probability - seen.joint_probability

    for what, rooms in told(solution, catalogue).items():
        for way, room in zip((-1.0, 1.0), rooms, strict=True):
            last = FARTHEST * mix[what] if np.isinf(room) else max(room - 0.5, 0.0)
            before = max(fall(what, way * last * k / _STEPS) for k in range(1, _STEPS + 1))
            further = FALL if np.isinf(room) else fall(what, way * (room + 0.5))
            nearer = before if np.isinf(room) else fall(what, way * last)
            yield Weighed(what, way * room, nearer, further, before)


def main(words: list[str]) -> int:
    """Print each weighing that is not as told; the exit code is 1 where there is one."""
    count = int(words[0]) if words else 50
    catalogue = load_catalogue()
    looked = wrong = amounts = 0
    for name, job in jobs(10 * count, catalogue):
        known = fitted_parameters(job, catalogue)
        answer = design(job, catalogue, known, explain=False)
        if answer.mix is None:
            continue
        looked += 1
        blend = {what: grams for what, grams in answer.mix.grams.items() if what != "water"}
        answer = check(job, blend, catalogue, answer.mix.water_ratio, known, explain=True)
        if answer.stands is None:
            continue
        for one in weighed_wrong(answer, catalogue, known):
            amounts += not np.isinf(one.grams)
            if not one.right:
                wrong += 1
                _tell(
                    f"{name} ({answer.joint_probability:.2f}): {one.what} {one.grams:+.0f} g: falls by "
                    f"{100 * one.nearer:.1f} points half a gram before, {100 * one.further:.1f} half a gram "
                    f"after, {100 * one.sooner:.1f} at most before"
                )
        if looked == count:
            break
    _tell(f"{looked} jobs, {amounts} amounts told beside those of which any is: {wrong} not as told")
    return int(wrong > 0)


def _tell(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
