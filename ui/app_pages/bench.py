"""The first page: what to weigh for the vessel in hand, what it costs, which limit is tight."""

from __future__ import annotations

import streamlit as st

from optimizer.nomenclature import USES, quantity
from optimizer.solution import Prediction, Relaxation, Solution
from optimizer.studies.batch import weighing_order, weighing_step
from optimizer.verdict.evidence import EVIDENCE_WORDS
from ui import answers
from ui.charts import BARS, cost_chart, margin_chart, margin_rows
from ui.cost_answers import cost_told
from ui.draft import field_value, tables_of, whose
from ui.fields import CANDLE, MOST_POWDERS, ROOM, TITLE, VESSEL
from ui.page_words import MARKS, UNREAD, chance_phrase, mark_of, spoken_bound
from ui.plain_text import bullets, marked, paragraphs, plain
from ui.printing import print_card
from ui.question import Question
from ui.reasons import HEAT, fit_words, limit_sentence, no_blend_words, proof_words, single_binder_words
from ui.state import Session, apply_limits, drop_pick, session, units
from ui.widgets import draw, show_field, show_fields, tell_faults
from ui.words import (
    caution_words,
    chance_words,
    cost_groups,
    grams_words,
    judged_words,
    label_of,
    money,
    range_words,
    seen_words,
    value_words,
)

_FIRST_CAUTIONS = 3
_STEP_CHANCE = 1.0 / 3.0
_EVEN = 0.5
_NAMES = {
    "bounds": "the bounds of {} in the job file",
    "at_most_materials": f"“{MOST_POWDERS.label}” (below)",
    "max_coats": "the most coats of sealer in the job file",
    "measured_outer": "“outer wall in your burn test” (below)",
}
_WHY = 320  # pixels kept for the reasons, which come later, so that nothing below them jumps


def show() -> None:
    """Show the page."""
    now = session()
    solution = now.solution
    st.title("Weigh", anchor=False)
    st.caption(plain(f"{now.job.title} · {_examples(now)}, on the left (on a phone behind »)"))
    if solution.mix is None:
        _no_blend(now)
        _surroundings(now, expanded=True)
        return
    left, right = st.columns([6, 5], gap="large")
    with left:
        _weigh(now, solution)
        _buttons(now)
        _cost(now, solution)
    with right:
        _margins(now, solution)
        why = st.container(height=_WHY, border=False)
    _cautions(solution)
    _details(now, solution)
    _surroundings(now)
    with why:
        _explanation(now.asked, now.blend)


def _examples(now: Session) -> str:
    return "example numbers: replace with yours" if now.job.example_prices else "your numbers stand"


def _weigh(now: Session, solution: Solution) -> None:
    most = now.job.shop.molds_per_mix
    choice = st.segmented_control(
        "Amounts for",
        ["vessel", "mix"],
        label_visibility="collapsed",
        default="vessel",
        required=True,
        key="amounts",
        persist_state="session",
        format_func=lambda each: plain(
            "one vessel" if each == "vessel" else f"one mix of {most}, waste in it"
        ),
    )
    batch = answers.batch(now.asked, now.blend, most) if choice == "mix" else None
    grams = batch.grams if batch else solution.mix.grams if solution.mix else {}
    catalogue = answers.catalogue()
    with st.container(horizontal=True, key="weigh"):
        for name in weighing_order(grams, catalogue):
            step = weighing_step(name, solution, catalogue)
            words = grams_words(grams[name], step, units())
            st.metric(plain(label_of(name, catalogue)), plain(words), width="content")


def _cost(now: Session, solution: Solution) -> None:
    if solution.cost is None:
        st.info("Give every powder a price on the page Shelf and prices to see the cost.")
        return
    told = cost_told(now.asked, now.blend)
    currency = now.job.currency
    st.markdown(marked("### {} a good vessel", money(solution.cost, currency)))
    if told:
        whose = (
            f"{MARKS['example']} invented examples" if now.job.example_prices else f"{MARKS['yours']} yours"
        )
        st.caption(plain(f"{told}. Prices and rejects as stated ({whose}).{_step(now, solution)}"))
    groups = cost_groups(solution.cost_parts)
    draw(
        cost_chart(groups),
        key="cost_parts",
        alt="Parts of the cost: " + ", ".join(f"{name} {money(x, currency)}" for name, x in groups.items()),
    )


def _step(now: Session, solution: Solution) -> str:
    """Say that the cost stands on a step where one more coat of sealer may well be needed."""
    chance = answers.more_coats(now.asked, now.blend)
    if chance < _STEP_CHANCE:
        return ""
    coats = round(solution.properties["sealer_coats"].value)
    counted = f"{coats} coat{'' if coats == 1 else 's'} of sealer {'is' if coats == 1 else 'are'} counted"
    return f" The cost stands on a step: {counted}; that it takes one more is {chance_phrase(chance)}."


def _buttons(now: Session) -> None:
    with st.container(horizontal=True):
        unread = bool(now.faults)
        if st.button("Print the card", icon=":material/print:", key="print_card", disabled=unread):
            print_card(now)
        st.page_link("app_pages/give_and_take.py", label="See trade-offs", icon=":material/balance:")
        if now.blend:
            st.button("Back to the cheapest blend", on_click=drop_pick, key="drop_pick")
    if now.faults:
        st.caption(plain(UNREAD))


def _margins(now: Session, solution: Solution) -> None:
    st.markdown("### Room to each limit")
    rows = margin_rows({"in hand": solution}, units())
    if not rows:
        st.info("No limit is set: this is the cheapest blend of all.")
        return
    for row in rows:
        known = solution.properties.get(row["property"])
        mark = _mark(now, row["property"], known) if known else ""
        row["words"] = f"{mark} {row['words']}" if mark else row["words"]
    draw(
        margin_chart(rows),
        key="margins",
        alt="Limits, tightest first: " + "; ".join(f"{row['words']}: {row['told']}" for row in rows),
    )
    st.caption(
        plain(
            f"{BARS} {MARKS['example']} shipped figures, no trial of yours behind them · "
            f"{MARKS['fitted']} fitted to your trials or burn test"
        )
    )


@st.fragment
def _explanation(asked: Question, blend: str) -> None:
    """Say which limit costs money, after everything else stands on the page."""
    if blend:
        st.markdown("A blend you picked: go back to the cheapest one to see what each limit costs.")
        return
    with st.spinner("Working out what each limit costs"):
        solution = answers.designed(asked, explain=True)
    st.markdown(plain(limit_sentence(solution, units())))
    alone = single_binder_words(solution, answers.catalogue(), units())
    proof = proof_words(solution.proof) if solution.proof else ""
    st.markdown(paragraphs((_together(solution), alone, proof, *solution.notes)))


def _together(solution: Solution) -> str:
    """Say how likely all limits hold at once."""
    chance = solution.joint_probability
    if chance is None:
        return ""
    return f"That all limits hold together is {chance_phrase(chance)}."


def _no_blend(now: Session) -> None:
    count = len(now.job.limits)
    st.markdown(marked("### No blend of these powders meets all {} limits", str(count)))
    with st.spinner("Looking for the smallest changes that would do"):
        solution = answers.designed(now.asked, explain=True)
    if solution.conflict:
        names = ", ".join(quantity(limit.property).label for limit in solution.conflict)
        alone = len(solution.conflict) == 1
        st.markdown(plain(f"{'Out of reach' if alone else 'These stand against each other'}: {names}."))
    if not solution.relaxations:
        st.markdown("No single change is enough. Loosen two limits, or add a powder on the page Materials.")
    else:
        st.markdown("Any one of these changes is enough:")
    for place, relaxation in enumerate(solution.relaxations[:3]):
        st.button(
            plain(_relaxation_words(now, relaxation)),
            key=f"relax_{place}",
            on_click=apply_limits,
            args=(relaxation.limits,),
        )
    st.markdown(paragraphs(no_blend_words(solution, _NAMES)))


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
    st.markdown("### Cautions")
    texts = [caution_words(key, units()) for key in solution.cautions]
    st.markdown(bullets(texts[:_FIRST_CAUTIONS]))
    if texts[_FIRST_CAUTIONS:]:
        with st.expander(marked("{} more", str(len(texts) - _FIRST_CAUTIONS))):
            st.markdown(bullets(texts[_FIRST_CAUTIONS:]))


def _details(now: Session, solution: Solution) -> None:
    with st.expander("All predicted figures, their ranges and what they rest on"):
        st.dataframe(
            [
                {
                    "limit": quantity(v.limit.property).label,
                    "asked": spoken_bound(v.limit, units()),
                    "best value": seen_words(v, solution.properties.get(v.limit.property), units()),
                    "verdict": judged_words(v),
                    "chance": chance_words(v),
                }
                for v in solution.limits
            ],
            hide_index=True,
            key="limits_table",
            alt="Every limit with its verdict and its chance",
        )
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
        slots |= show_fields((*VESSEL, *CANDLE, *ROOM, MOST_POWDERS), 4)
        tell_faults(slots, {key: fault for key, fault in now.faults.items() if key in slots})


show()
