"""The first page: how sure the blend is, what it costs, what to weigh, and which limit is least sure."""

from __future__ import annotations

import streamlit as st
from streamlit.delta_generator import DeltaGenerator as Container

from optimizer.job import Vessel
from optimizer.nomenclature import USES, quantity
from optimizer.solution import Prediction, Relaxation, Solution
from optimizer.studies.check import Batch
from optimizer.units import show_amount
from optimizer.verdict.evidence import EVIDENCE_WORDS
from ui import answers
from ui.batch_text import fill_words, held_words, most_per_mix
from ui.certainty import cost_told, show_certainty
from ui.charts import cost_chart
from ui.draft import field_value, invented, tables_of, whose
from ui.drawings import WeighLine, bar_colors, blend_bar, dots, limits_table, weigh_table
from ui.fields import CANDLE, MOST_POWDERS, ROOM, TITLE, VESSEL
from ui.jobs import blend_text
from ui.lever_buttons import show_levers
from ui.page_words import MARKS, UNREAD, chance_phrase, examples_words, mark_of, spoken_bound
from ui.plain_text import bullets, marked, paragraphs, plain
from ui.printing import print_card
from ui.reasons import (
    HEAT,
    barred_words,
    fit_words,
    limit_sentence,
    no_blend_words,
    proof_words,
    single_binder_words,
)
from ui.state import Session, apply_limits, drop_pick, pick, session, units
from ui.unit_text import prose_in
from ui.verdict_words import (
    DEMO_GONE,
    headline,
    limit_lines,
    open_words,
    rests_on,
    span_of,
    sure_enough,
    sure_words,
    worth_words,
)
from ui.vessel_drawing import vessel_section
from ui.widgets import draw, drawn, show_field, show_fields, tell_faults, theme
from ui.words import (
    caution_words,
    cost_groups,
    grams_words,
    label_of,
    money,
    range_words,
    value_words,
)

_STEP_CHANCE = 1.0 / 3.0
_USUAL = "usual_mix"
_OF_THIS_BLEND = ("heat_negative", "stays_soft", "extrapolated", "damp", "bleeding", "gypsum_water")
_NAMES = {
    "bounds": "the bounds of {} in the job file",
    "at_most_materials": f"“{MOST_POWDERS.label}” (below)",
    "max_coats": "the most coats of sealer in the job file",
    "measured_outer": "“outer wall in your burn test” (below)",
}


def show() -> None:
    """Show the page: first what to weigh and how sure it is, then its reasons, each once it is known."""
    now = session()
    solution = now.solution
    if solution.mix is None:
        _no_blend(now)
        return
    _verdict(now, solution)
    left, right = st.columns([6, 7], gap="large")
    with left:
        _weigh(now, solution)
    with right:
        _limits(now, solution)
    left, right = st.columns([6, 7], gap="large")
    with left:
        st.markdown("### What certainty costs")
        worth = st.container(border=False, key="worth")
        show_certainty(now)
    with right:
        _cautions(solution)
        why = st.container(border=False, key="why")
    step = _money(now, solution)
    _details(now, solution)
    _surroundings(now)
    if now.blend:
        why.markdown("A blend you picked: go back to the cheapest one to see what each limit costs.")
    else:
        _reasons(now, worth, why)
    with worth:
        show_levers(now, solution)
    if step is not None and (words := _step(now, solution)):
        step.caption(plain(words))


def _reasons(now: Session, worth: Container, why: Container) -> None:
    """Tell what would make the answer surer, what limits cost and which blend is worth a trial, in turn."""
    changes, trial = worth.container(), worth.empty()
    price, alone = why.empty(), why.empty()
    trial.caption("Looking for a blend worth a trial …")
    price.caption("Working out what each limit costs …")
    with answers.explaining(now.asked) as told:
        with changes:
            _surer(now, told("relaxations"))
        alone.markdown(paragraphs(_alone(told("alternatives"))))
        price.markdown(plain(limit_sentence(told("limits"), units())))
        with trial.container():
            _worth(told("worth_a_trial"))


def _surer(now: Session, solution: Solution) -> None:
    """Offer the changes any one of which makes a blend sure enough."""
    if solution.relaxations:
        st.markdown(marked(":small[**Sure enough** by any one of these changes:]"))
        _changes(now, solution)


def _alone(solution: Solution) -> list[str]:
    """Return what one binder alone would cost, what is proved, and what else to know of the answer."""
    alone = single_binder_words(solution, answers.catalogue(), units())
    proof = proof_words(solution.proof) if solution.proof else ""
    notes = (*barred_words(solution), *solution.notes)
    return [alone, proof, *(prose_in(note, units()) for note in notes)]


def _verdict(now: Session, solution: Solution) -> None:
    """Show how sure the blend is, what it costs, and the way to its card."""
    with st.container(border=True, key="verdict", gap="xsmall"):
        sure, cost, card = st.columns([6, 4, 2], gap="small")
        with sure:
            st.title(plain(headline(solution)), anchor=False)
            if solution.limits:
                drawn(dots(solution.joint_probability or 0.0, theme(), sure=sure_enough(solution)))
            if open_words(solution):
                st.markdown(marked("**{}**", open_words(solution)))
            st.markdown(plain(sure_words(solution)))
        with cost:
            _price(now, solution)
        with card:
            _buttons(now)


def _worth(solution: Solution) -> None:
    """Say which other blend is worth a trial."""
    for each in solution.worth_a_trial[:1]:
        words, button = st.columns([3, 1], vertical_alignment="center")
        words.markdown(
            marked(":small[**Worth a trial:** {}]", worth_words(each, solution, answers.catalogue()))
        )
        button.button(
            "Look at it",
            key="look_at_trial",
            on_click=pick,
            args=(blend_text(each.blend, each.water_ratio),),
        )


def _price(now: Session, solution: Solution) -> None:
    if solution.cost is None:
        st.info("Give every powder a price on the page Shelf and prices to see the cost.")
        return
    cost, span = money(solution.cost, now.job.currency), span_of(solution)
    st.markdown(marked("### {}\n:small[a good vessel, expected at these prices; {}]", cost, span))


def _buttons(now: Session) -> None:
    if st.button(
        "Print the card",
        icon=":material/print:",
        key="print_card",
        disabled=bool(now.faults),
    ):
        print_card(now)
    if now.blend:
        st.button("Back to the design's blend", on_click=drop_pick, key="drop_pick", wrap=True)
    if now.faults:
        st.caption(plain(UNREAD))


def _weigh(now: Session, solution: Solution) -> None:
    """Show what to weigh for a mix of so many vessels, waste in it; at first as many as one mix fills."""
    usual = most_per_mix(solution)
    if st.session_state.get("vessels_to_mix") == st.session_state.get(_USUAL):
        st.session_state["vessels_to_mix"] = usual  # a number of the caster's own stays
    st.session_state[_USUAL] = usual
    with st.container(horizontal=True, vertical_alignment="center", gap="small"):
        st.markdown("### Weigh for", width="content")
        vessels = st.number_input(
            "Vessels to mix",
            1,
            10_000,
            usual,
            key="vessels_to_mix",
            persist_state="session",
            label_visibility="collapsed",
            width=130,
        )
        st.markdown("### vessels", width="content")
    batch = answers.batch(now.asked, now.blend, int(vessels))
    if batch is None or solution.mix is None:
        return
    known = answers.catalogue()
    shares = {label_of(name, known): solution.mix.blend[name] for name in _by_share(solution)}
    lines = [
        WeighLine(
            _weighed_name(each.name, solution),
            grams_words(each.grams, each.step, units()),
            "in its own jug" if each.name == "water" else grams_words(each.running, each.step),
        )
        for each in batch.portions
    ]
    colors = bar_colors([label_of(name, known) for name in known])
    drawn(weigh_table(lines, theme()), blend_bar(shares, theme(), colors))
    st.caption(plain(_batch_words(now, solution, batch)))
    st.caption(plain(f"{now.job.title} · {_examples(now)}"))


def _examples(now: Session) -> str:
    return examples_words(len(invented(tables_of(now.asked.text))))


def _by_share(solution: Solution) -> list[str]:
    blend = {} if solution.mix is None else solution.mix.blend
    return sorted(blend, key=lambda name: -blend[name])


def _weighed_name(name: str, solution: Solution) -> str:
    if name != "water" or solution.mix is None:
        return label_of(name, answers.catalogue())
    return f"water, {100.0 * solution.mix.water_ratio:.0f} per 100 of powder"


def _batch_words(now: Session, solution: Solution, batch: Batch) -> str:
    """Return how many mixes the table stands for, and why one mix holds no more."""
    waste = f"{100.0 * now.job.shop.waste:g} % waste in"
    fills = fill_words(solution, units())
    if batch.mixes == 1:
        return f"One mix, {waste}. {fills}"
    return (
        f"{batch.mixes} mixes of {batch.per_mix} vessels, for {held_words(solution)}; "
        f"the table is one mix, {waste}. {fills}"
    )


def _limits(now: Session, solution: Solution) -> None:
    st.markdown("### Limits, least sure first")
    if not solution.limits:
        st.info("No limit is set: this is the cheapest blend of all.")
        return
    marks = {name: _mark(now, name, known) for name, known in solution.properties.items()}
    drawn(limits_table(limit_lines(solution, units(), marks), theme()))
    if fault := st.session_state.get("calibration_fault"):
        st.warning(marked("The fit to trials does not count: {}", fault))
    rests = rests_on(now.asked.trials, invented=now.invented_casts)
    rests += f" {DEMO_GONE}" if now.casts_replaced else ""
    read = "Each limit alone. Bar: all casts; hatched: those that fail. Range: 5 % to 95 %."
    marks_told = f"{MARKS['example']} shipped figures · {MARKS['fitted']} fitted to trials or a burn test"
    st.caption(plain(f"{rests} {read} {marks_told}"))


def _money(now: Session, solution: Solution) -> Container | None:
    """Show where the money of a good vessel goes, folded; return the place for the step it may stand on."""
    if solution.cost is None:
        return None
    currency = now.job.currency
    groups = cost_groups(solution.cost_parts)
    largest = ", ".join(f"{name} {money(x, '').strip()}" for name, x in list(groups.items())[:3])
    with st.expander(marked("Where the {} goes: {} …", money(solution.cost, currency), largest)):
        told = cost_told(now.asked, now.blend)
        if told:
            st.caption(plain(f"{told}."))
        step = st.empty()
        draw(
            cost_chart(groups),
            key="cost_parts",
            alt="Parts of the cost: "
            + ", ".join(f"{name} {money(x, currency)}" for name, x in groups.items()),
        )
    return step


def _step(now: Session, solution: Solution) -> str:
    """Say that the cost stands on a step where one more coat of sealer may well be needed."""
    chance = answers.more_coats(now.asked, now.blend)
    if chance < _STEP_CHANCE:
        return ""
    coats = round(solution.properties["sealer_coats"].value)
    counted = f"{coats} coat{'' if coats == 1 else 's'} of sealer {'is' if coats == 1 else 'are'} counted"
    return f"The cost stands on a step: {counted}; that it takes one more is {chance_phrase(chance)}."


def _no_blend(now: Session) -> None:
    """Say that no blend does, then what stands in the way and the smallest changes that would do."""
    count = len(now.job.limits)
    st.title(marked("No blend of these powders meets all {} limits", str(count)), anchor=False)
    st.caption(plain(f"{now.job.title} · {_examples(now)}"))
    conflict, changes, why = st.empty(), st.empty(), st.empty()
    changes.caption("Looking for the smallest changes that would do …")
    _surroundings(now, expanded=True)
    with answers.explaining(now.asked) as told:
        conflict.markdown(paragraphs(_conflict_words(told("barred_by"))))
        solution = told("relaxations")
        with changes.container():
            if not solution.relaxations:
                st.markdown(
                    "No single change is enough. Loosen two limits, or add a powder on the page Materials."
                )
            else:
                st.markdown("Any one of these changes is enough:")
            _changes(now, solution)
            show_levers(now, solution)
    why.markdown(paragraphs(no_blend_words(solution, _NAMES)))


def _conflict_words(solution: Solution) -> list[str]:
    """Return which limits are out of reach or stand against each other, and which rules of mixing do."""
    if not solution.conflict:
        return list(barred_words(solution))
    names = ", ".join(quantity(limit.property).label for limit in solution.conflict)
    alone = len(solution.conflict) == 1
    against = f"{'Out of reach' if alone else 'These stand against each other'}: {names}."
    return [against, *barred_words(solution)]


def _changes(now: Session, solution: Solution) -> None:
    """Show the smallest changes of limits that would do, each a click."""
    for place, relaxation in enumerate(solution.relaxations[:3]):
        st.button(
            plain(_relaxation_words(now, relaxation)),
            key=f"relax_{place}",
            on_click=apply_limits,
            args=(relaxation.limits,),
            wrap=True,
        )


def _relaxation_words(now: Session, relaxation: Relaxation) -> str:
    old = {(x.property, x.sense): x for x in now.job.limits}
    changes = [
        f"{quantity(x.property).label}: {spoken_bound(old[x.property, x.sense], units())} "
        f"becomes {spoken_bound(x, units())}"
        for x in relaxation.limits
    ]
    cost = (
        f", {money(relaxation.objective, now.job.currency)} a vessel" if now.job.objective == "cost" else ""
    )
    return f"{' and '.join(changes)}{cost}"


def _cautions(solution: Solution) -> None:
    """Show the gravest caution and those of this blend in full, what holds for all such blends folded."""
    st.markdown("### Cautions")
    open_keys = {*solution.cautions[:1], *_OF_THIS_BLEND}
    shown = [caution_words(key, units()) for key in solution.cautions if key in open_keys]
    folded = [caution_words(key, units()) for key in solution.cautions if key not in open_keys]
    st.markdown(paragraphs(shown))
    if folded:
        with st.expander(marked("{} more, of any such blend", str(len(folded)))):
            st.markdown(bullets(folded))


def _details(now: Session, solution: Solution) -> None:
    with st.expander("All predicted figures, their ranges and what they rest on"):
        st.dataframe(
            [
                {
                    "figure": quantity(name).label,
                    "best": value_words(name, p.value, units()),
                    "likely": range_words(name, p, units()),
                    "rests on": f"{_mark(now, name, p)} {EVIDENCE_WORDS[p.evidence]}",
                    "good for": USES[p.use],
                }
                for name, p in solution.properties.items()
            ],
            hide_index=True,
            key="figures",
            alt="Predicted figures",
        )
        st.caption(plain(fit_words(solution, units())))


def _mark(now: Session, name: str, known: Prediction) -> str:
    """Return whose a predicted figure is; what rests on the demo's invented burn test is an example."""
    candle, key = now.job.candle, "candle.measured_outer"
    burned = candle is not None and candle.measured_outer is not None and name in HEAT
    asked = tables_of(now.asked.text)
    example = whose(asked, tables_of(answers.DEMO), key, field_value(asked, key)) == "example"
    return MARKS["example"] if burned and example else mark_of(known.evidence)


def _surroundings(now: Session, *, expanded: bool = False) -> None:
    with st.expander("Title, vessel, candle and room: what the figures above stand on", expanded=expanded):
        slots = {TITLE.key: show_field(TITLE, now.job.title)}
        fields, picture = st.columns([3, 2], gap="large")
        with fields:
            slots |= show_fields((*VESSEL, *CANDLE), 2)
        with picture:
            _section(now)
        slots |= show_fields((*ROOM, MOST_POWDERS), 4)
        tell_faults(slots, {key: fault for key, fault in now.faults.items() if key in slots})


def _section(now: Session) -> None:
    """Show the section of the vessel with the temperatures expected at its wall."""
    vessel = now.job.vessel
    seen = now.solution.properties
    walls = {"outer_wall_temperature": "outside", "inner_wall_temperature": "inside"}
    warm = {
        word: value_words(name, seen[name].value, units()) for name, word in walls.items() if name in seen
    }
    st.image(
        vessel_section(vessel, warm, units(), theme()),
        alt=f"Section of the vessel, to scale: {_measured(vessel)}",
    )
    st.caption(plain(f"{_measured(vessel)}. Burning, best values; wax and flame are only drawn."))


def _measured(vessel: Vessel) -> str:
    across, high, wall, base = (
        show_amount(each, "mm", 2, units())
        for each in (vessel.outer_diameter, vessel.height, vessel.wall, vessel.base)
    )
    return f"{across} across, {high} high, wall {wall}, base {base}"


show()
