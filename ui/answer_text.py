"""The text of `design` and `check`: what to weigh first, then money, limits, reasons and cautions."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from optimizer.materials import Catalogue
from optimizer.nomenclature import quantity
from optimizer.solution import (
    DESIGNED,
    NOT_SURE,
    SECOND_CHOICE,
    WITH_ITS_CHANCE,
    Alternative,
    LimitVerdict,
    Relaxation,
    Room,
    Solution,
    Stands,
    TrialWorth,
)
from optimizer.studies.check import Batch, Comparison, weighing_order, weighing_step
from optimizer.units import System, odds_words, significant
from optimizer.verdict.assess import FAILS, HOLDS, UNCERTAIN
from optimizer.verdict.evidence import EVIDENCE_WORDS
from ui.batch_text import batch_words
from ui.cost_words import even_price_words
from ui.reasons import (
    barred_words,
    evidence_words,
    fit_words,
    limit_sentence,
    no_blend_words,
    proof_words,
    single_binder_words,
    use_words,
)
from ui.terminal import Block, heading, indented, sentence, table
from ui.unit_text import prose_in
from ui.words import (
    blend_words,
    bound_words,
    caution_words,
    chance_words,
    cost_groups,
    grams_words,
    judged_words,
    label_of,
    money,
    money_parts,
    range_words,
    saving_words,
    seen_words,
    span_words,
    together_words,
    uncounted_words,
    value_words,
    verdict_words,
)

EXAMPLE_PRICES: Final = "Prices are invented examples: put your own in the job file."
SHORT: Final = 12
"""Characters of a fingerprint shown to people."""

_SAME: Final = 1e-3
"""Distance of two mixes that count as one [kg/L]."""

_EVEN: Final = 0.5
_EVEN_ODDS: Final = 0.6


def solution_blocks(
    solution: Solution,
    catalogue: Catalogue,
    units: System,
    batch: Batch | None = None,
    hastened: Sequence[Block] = (),
) -> Iterator[Block]:
    """Give the text of a designed or checked blend, with what to say of levers beside changes of limits."""
    yield sentence(solution.job.title, "bold")
    yield sentence(_opening(solution))
    yield from _weigh(solution, catalogue, units, batch)
    yield from _money(solution)
    yield from _trial(solution, catalogue)
    yield from _limits(solution, units)
    yield from _reasons(solution, catalogue, units, hastened)
    yield from _predicted(solution, units)
    yield from _closing(solution, units)


def no_blend_blocks(solution: Solution, units: System, hastened: Sequence[Block] = ()) -> Iterator[Block]:
    """Give the text of a job that no blend can do: what stands in the way, and what would help."""
    yield sentence(solution.job.title, "bold")
    yield sentence("No blend of these materials meets the limits.")
    if solution.proof is not None and solution.proof.infeasible:
        yield sentence(proof_words(solution.proof))
    if solution.conflict:
        alone = len(solution.conflict) == 1
        yield heading("Out of reach on its own" if alone else "These limits stand against each other")
        for limit in solution.conflict:
            yield indented(f"{quantity(limit.property).label} {bound_words(limit, units)}")
    yield from map(sentence, barred_words(solution))
    if solution.relaxations:
        yield from _changes(solution, units)
    else:
        yield sentence(
            "No change of a single limit is enough. Loosen two, or add materials to the job.", gap=True
        )
    yield from hastened
    told = no_blend_words(solution)
    if told:
        yield heading("Mind")
        yield from map(indented, told)
    yield from _fingerprint(solution)


def comparison_blocks(comparison: Comparison, catalogue: Catalogue, units: System) -> Iterator[Block]:
    """Give two blends side by side: every limit, the saving, and what to test again."""
    present, candidate = comparison.present, comparison.candidate
    yield sentence(candidate.job.title, "bold")
    yield sentence(f"The candidate: {_opening(candidate)}")
    for name, each in (("candidate", candidate), ("present", present)):
        if each.mix is not None:
            words = blend_words(each.mix.blend, catalogue)
            yield sentence(f"{name}: {words}; water ratio {each.mix.water_ratio:.3f}", indent=2)
    yield from _saving(comparison, catalogue)
    yield from _weigh_both(comparison, catalogue, units)
    yield from _money_both(comparison)
    yield heading("Limits")
    pairs = zip(candidate.limits, present.limits, strict=True)
    heads = ("limit", "asked", "candidate", "verdict", "chance", "present", "verdict")
    yield table(heads, [_pair(new, old, units) for new, old in pairs])
    yield heading("Also predicted")
    yield table(("property", "candidate", "likely range", "present"), _paired_values(comparison, units))
    yield from _notes_both(comparison, units)
    if comparison.retest:
        yield sentence(
            f"Test again, for the vessel is a new one: {', '.join(comparison.retest)}.", "bold", gap=True
        )
    else:
        yield sentence("The two are one and the same blend: nothing to test again.", gap=True)
    yield from _closing(candidate, units)
    if present.fingerprint != candidate.fingerprint:
        yield sentence(f"Fingerprint of the present blend: {present.fingerprint[:SHORT]}.")


def _opening(solution: Solution) -> str:
    """Return the verdict in one sentence or two: how sure, at what cost, and what stands in the way."""
    job = solution.job
    if not solution.limits:
        return f"No limits to judge by{_price_of(solution)}."
    sure = f"{together_words(solution)}{_price_of(solution)}"
    if solution.status == DESIGNED:
        return f"Cast this, a trial first: {sure}."
    asked = f"{100.0 * job.confidence:.0f} %"
    if solution.status == NOT_SURE:
        return f"No blend found is as sure as the {asked} asked for. The surest: {sure}.{_least(solution)}"
    told = f"This blend {_VERDICT_WORDS[solution.status]}: {sure}; {asked} was asked for.{_least(solution)}"
    return " ".join((told, *barred_words(solution)))


_VERDICT_WORDS = {HOLDS: "holds", UNCERTAIN: "is uncertain", FAILS: "fails"}


def _price_of(solution: Solution) -> str:
    """Return what a good vessel costs on average, with its likely range."""
    if solution.expected is None or solution.cost is None:
        return ""
    currency = solution.job.currency
    low, high = (money(end, currency) for end in (solution.expected.low, solution.expected.high))
    mean = money(solution.expected.value, currency)
    return f"; a good vessel costs {mean} on average ({span_words(low, high)})"


def _least(solution: Solution) -> str:
    """Return which limit takes most of the chance."""
    if solution.decisive is None or solution.status == HOLDS:
        return ""
    return f" Most is lost on {quantity(solution.decisive.property).label}."


def _weigh(solution: Solution, catalogue: Catalogue, units: System, batch: Batch | None) -> Iterator[Block]:
    mix = solution.mix
    assert mix is not None
    heads = ["", "one vessel"] + ([_batch_head(batch, solution)] if batch else [])
    rows = []
    for name in weighing_order(mix.grams, catalogue):
        step = weighing_step(name, solution, catalogue)
        row = [label_of(name, catalogue), grams_words(mix.grams[name], step, units)]
        rows.append([*row, grams_words(batch.grams[name], step, units)] if batch else row)
    yield heading("Weigh")
    yield table(heads, rows, right=range(1, len(heads)))
    if batch:
        yield from (sentence(words, indent=2) for words in batch_words(batch, solution, catalogue))
    words = (
        f"{blend_words(mix.blend, catalogue)}; water ratio {mix.water_ratio:.3f}; one vessel is before waste."
    )
    yield sentence(words, indent=2)
    yield from (sentence(line, indent=2) for line in _beside_the_grams(solution, catalogue, units))


def _beside_the_grams(solution: Solution, catalogue: Catalogue, units: System) -> Iterator[str]:
    """Give what to know before weighing: how far off a weighing may be, and the gravest caution."""
    if solution.stands is not None and _matters(solution.stands):
        yield stands_words(solution.stands, catalogue)
    if solution.cautions:
        yield f"Caution: {caution_words(solution.cautions[0], units)}"


def _batch_head(batch: Batch, solution: Solution) -> str:
    waste = f"{100.0 * solution.job.shop.waste:g} % waste in"
    return f"mix for {batch.per_mix}, {waste}"


def _money(solution: Solution) -> Iterator[Block]:
    job = solution.job
    yield heading("Money")
    if solution.cost is None:
        yield sentence(f"Not counted: {uncounted_words(solution)}.", indent=2)
        return
    shown = money_parts(cost_groups(solution.cost_parts))
    parts = ", ".join(f"{name} {amount}" for name, amount in shown.items())
    yield sentence(f"{money(solution.cost, job.currency)} for one good vessel on average: {parts}.", indent=2)
    if job.example_prices:
        yield sentence(EXAMPLE_PRICES, indent=2)


def _trial(solution: Solution, catalogue: Catalogue) -> Iterator[Block]:
    """Give the cheaper blend that is not sure yet and worth casting once."""
    for each in solution.worth_a_trial:
        yield heading("Worth a trial")
        yield from (sentence(line, indent=2) for line in trial_words(each, solution, catalogue))


def trial_words(worth: TrialWorth, solution: Solution, catalogue: Catalogue) -> Iterator[str]:
    """Give a blend that is worth a trial, what it costs if it holds, and what the trial is worth."""
    currency = solution.job.currency
    mix = solution.mix
    same = mix is not None and math.dist(worth.mix, mix.per_liter) < _SAME
    words = "This very blend" if same else blend_words(worth.blend, catalogue)
    yield f"{words}; water ratio {worth.water_ratio:.3f}."
    cost, saves = money(worth.cost_if_it_holds, currency), money(worth.saves, currency)
    sure = f"If all limits hold, with {odds_words(worth.chance)}, a good vessel costs {cost}"
    sure_of_it = " with the trials it takes to be sure of one"
    above = f"the blend above{'' if solution.status == DESIGNED else sure_of_it}"
    yield f"{sure}: {saves} less than {above}."
    spent, gained = (significant(x, 2) for x in (worth.trial_cost, worth.worth))
    yield (
        f"A trial costs {spent} {currency} and is worth {gained} {currency} more than that over "
        f"{worth.vessels:.0f} vessels; it pays from {worth.pays_from_vessels:.0f} vessels."
    )


def _limits(solution: Solution, units: System) -> Iterator[Block]:
    if solution.limits:
        yield heading("Limits, least sure first")
        heads = ("limit", "", "chance", "best value (range)", "verdict")
        ordered = sorted(solution.limits, key=least_sure_first)
        yield table(heads, [_limit_row(v, solution, units) for v in ordered])


def least_sure_first(verdict: LimitVerdict) -> tuple[bool, float]:
    """Sort key of judged limits: the least sure first, those that are not judged last."""
    return verdict.judged != WITH_ITS_CHANCE, verdict.probability


def _limit_row(verdict: LimitVerdict, solution: Solution, units: System) -> list[str]:
    name = verdict.limit.property
    label, bound = quantity(name).label, bound_words(verdict.limit, units)
    seen = seen_words(verdict, solution.properties.get(name), units)
    return [label, bound, chance_words(verdict), seen, judged_words(verdict)]


def _reasons(
    solution: Solution, catalogue: Catalogue, units: System, hastened: Sequence[Block]
) -> Iterator[Block]:
    lines = [limit_sentence(solution, units), single_binder_words(solution, catalogue, units)]
    lines += [proof_words(solution.proof)] if solution.proof else []
    lines += [prose_in(note, units) for note in solution.notes]
    told = [line for line in lines if line]
    if told:
        yield heading("Why")
        yield from (indented(line) for line in told)
    yield from map(sentence, barred_words(solution))
    if solution.relaxations:
        yield from _changes(solution, units)
    yield from hastened
    ties = [a for a in solution.alternatives if a.name.startswith(SECOND_CHOICE)]
    if ties:
        yield heading("Nearly as good")
        yield from (indented(_tie(a, solution, catalogue, units)) for a in ties)


def _matters(known: Stands) -> bool:
    rooms = (known.water_room, known.powder_room)
    return any(math.isfinite(end) for room in rooms for end in (room.less, room.more))


def stands_words(known: Stands, catalogue: Catalogue) -> str:
    """Return how far a weighing may be off, in one line."""

    def grams(ends: Room) -> str:
        if math.isfinite(ends.less + ends.more):
            return f"-{ends.less:.0f}/+{ends.more:.0f} g"
        less, more = ("any amount" if math.isinf(x) else f"{x:.0f} g" for x in (ends.less, ends.more))
        return f"{less} less or {more} more"

    powder = label_of(known.powder, catalogue)
    return (
        f"Stands, in a mix for {known.vessels}: water {grams(known.water_room)}, {powder} "
        f"{grams(known.powder_room)}, before the chance falls by ten points."
    )


def _tie(tie: Alternative, solution: Solution, catalogue: Catalogue, units: System) -> str:
    why = tie.name.removeprefix(SECOND_CHOICE).strip(", ")
    words = blend_words(tie.blend, catalogue) + (f" ({why})" if why else "")
    job = solution.job
    if tie.objective is None:
        return words
    if job.objective == "cost":
        return f"{words}: {money(tie.objective, job.currency)}"
    return f"{words}: {value_words(job.objective, tie.objective, units)}"


def _predicted(solution: Solution, units: System) -> Iterator[Block]:
    limited = {v.limit.property for v in solution.limits}
    rows = [
        [
            quantity(name).label,
            value_words(name, p.value, units),
            range_words(name, p, units),
            EVIDENCE_WORDS[p.evidence],
        ]
        for name, p in solution.properties.items()
        if name not in limited
    ]
    yield heading("Also predicted")
    yield table(("property", "best value", "likely range", "rests on"), rows)
    yield indented(fit_words(solution, units))
    yield from (indented(line) for line in evidence_words(solution.properties))
    yield from (indented(line) for line in use_words(solution.properties))


def _closing(solution: Solution, units: System) -> Iterator[Block]:
    if solution.cautions:
        yield heading("Cautions")
        yield from (indented(caution_words(key, units)) for key in solution.cautions)
    yield from _fingerprint(solution)


def _fingerprint(solution: Solution) -> Iterator[Block]:
    same = "job" if solution.named_mix is None else "job, blend, water"
    words = f"Fingerprint {solution.fingerprint[:SHORT]}: the same {same} and figures give this answer again."
    yield sentence(words, gap=True)


def _changes(solution: Solution, units: System) -> Iterator[Block]:
    """Give the changes of limits with which a blend holds as surely as asked."""
    yield heading(f"Any one of these changes lets a blend hold with {100.0 * solution.job.confidence:.0f} %")
    yield table(("change", "to", "then"), [_relaxation(r, solution, units) for r in solution.relaxations])


def _relaxation(relaxation: Relaxation, solution: Solution, units: System) -> list[str]:
    names = ", ".join(quantity(limit.property).label for limit in relaxation.limits)
    bounds = ", ".join(bound_words(limit, units) for limit in relaxation.limits)
    job = solution.job
    if job.objective == "cost":
        return [names, bounds, f"{money(relaxation.objective, job.currency)} a vessel"]
    best = value_words(job.objective, relaxation.objective, units)
    return [names, bounds, f"{quantity(job.objective).label} {best}"]


def _saving(comparison: Comparison, catalogue: Catalogue) -> Iterator[Block]:
    """Give the headline of a comparison: what is saved, and what that does to the chance."""
    job = comparison.candidate.job
    old, new = comparison.present.cost, comparison.candidate.cost
    sure = _chances_both(comparison)
    if comparison.saving is None or comparison.share is None or old is None or new is None:
        reasons = (uncounted_words(each) for each in (comparison.candidate, comparison.present))
        why = "; ".join(dict.fromkeys(filter(None, reasons)))
        yield sentence(f"No saving can be named: {why}.{sure}", gap=True)
        return
    both = f"{money(new, job.currency)} against {money(old, job.currency)}"
    words = f"On each good vessel the candidate {saving_words(old, new, job.currency)}: {both}.{sure}"
    yield sentence(words, "bold", gap=True)
    yield from map(sentence, even_price_words(comparison, catalogue))
    if job.example_prices:
        yield sentence(EXAMPLE_PRICES)


def _chances_both(comparison: Comparison) -> str:
    new, old = comparison.candidate.joint_probability, comparison.present.joint_probability
    if new is None or old is None or not comparison.candidate.limits:
        return ""
    return f" All limits hold together with {odds_words(new)} instead of {odds_words(old)}."


def _weigh_both(comparison: Comparison, catalogue: Catalogue, units: System) -> Iterator[Block]:
    candidate, present = comparison.candidate, comparison.present
    grams = [each.mix.grams if each.mix is not None else {} for each in (candidate, present)]
    rows = []
    for name in weighing_order({**grams[1], **grams[0]}, catalogue):
        step = weighing_step(name, candidate, catalogue)
        masses = [grams_words(mix[name], step, units) if name in mix else "-" for mix in grams]
        rows.append([label_of(name, catalogue), *masses])
    yield heading("Weigh for one vessel, before waste")
    yield table(("", "candidate", "present"), rows, right=(1, 2))


def _money_both(comparison: Comparison) -> Iterator[Block]:
    candidate, present = comparison.candidate, comparison.present
    if candidate.cost is None or present.cost is None:
        return
    new, old = (money_parts(cost_groups(each.cost_parts)) for each in (candidate, present))
    rows = [[name, new.get(name, "0.00"), old.get(name, "0.00")] for name in dict.fromkeys((*new, *old))]
    yield heading(f"Money in one good vessel, {candidate.job.currency}")
    yield table(("", "candidate", "present"), rows, right=(1, 2))


def _notes_both(comparison: Comparison, units: System) -> Iterator[Block]:
    pairs = (("candidate", comparison.candidate), ("present", comparison.present))
    told = [
        f"{name}: {prose_in(note, units)}" for name, each in pairs for note in (*each.barred_by, *each.notes)
    ]
    if told:
        yield heading("Mind")
        yield from map(indented, told)


def _pair(new: LimitVerdict, old: LimitVerdict, units: System) -> list[str]:
    asked = [quantity(new.limit.property).label, bound_words(new.limit, units)]
    return [
        *asked,
        verdict_words(new, units),
        new.verdict,
        chance_words(new),
        verdict_words(old, units),
        old.verdict,
    ]


def _paired_values(comparison: Comparison, units: System) -> Iterator[list[str]]:
    limited = {v.limit.property for v in comparison.candidate.limits}
    old = comparison.present.properties
    for name, new in comparison.candidate.properties.items():
        if name not in limited:
            best, before = value_words(name, new.value, units), value_words(name, old[name].value, units)
            yield [quantity(name).label, best, range_words(name, new, units), before]
