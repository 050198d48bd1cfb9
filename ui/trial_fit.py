"""The part of the trial book that teaches: predicted against seen, before and after, and the next trial."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any, Final

import altair as alt
import pandas as pd
import streamlit as st

from optimizer.calibration.agreement import agreement
from optimizer.calibration.files import calibration_text, newest_calibration
from optimizer.calibration.fit import Fit
from optimizer.calibration.measurement_errors import KINDS
from optimizer.calibration.words import figure_words, size_words
from optimizer.errors import FileFaults, NoVerdict
from optimizer.trials.book import TrialBook
from optimizer.units import System, display_value
from ui.charts import colored, layered
from ui.fit_text import (
    LEFT_OUT_HEADS,
    flagged_words,
    left_out_row,
    left_out_words,
    measure_rows,
    moved_words,
    next_sentence,
    seen_rows,
    unexplained_words,
    weigh_rows,
    worse_words,
)
from ui.plain_text import bullets, marked, named, plain
from ui.question import catalogue
from ui.state import Session, units
from ui.trial_answers import book_folder, chart_rows, fitted, keep_fit, next_cast
from ui.verdict_words import DEMO_GONE
from ui.widgets import draw

_FIRST: Final = "dry_strength"
_MARKS: Final[Mapping[str, str]] = {
    "": "",
    "*": "further off",
    "!": "does not fit the others, hardly counts",
}
_BOUND: Final = "upper bound"
_NARROW: Final = 64
"""Width of a column of one value with its unit [px]: the note beside them must not be cut off."""

_HEIGHT = 340


def show_fit(now: Session, book: TrialBook) -> None:
    """Show what was fitted from the trials, and let the caster use it or not."""
    st.markdown("### Fitted from trials")
    _in_use(now, {trial.id for trial in book.trials()})
    try:
        with st.spinner("Fitting the figures to the trials", show_time=True):
            fit = fitted(tuple(book.trials()), now.asked.text)
    except NoVerdict as error:
        st.info(marked("Nothing yet: {}", str(error)))
        return
    _seen(fit)
    _agreement(fit)
    _learned(fit)
    _flagged(fit)
    if now.asked.calibration != calibration_text(fit.calibration):
        if now.invented_casts:
            few = _counted(len(fit.calibration.trials))
            st.info(
                plain(
                    f"A fit of your own takes the place of the demo's {now.asked.trials} invented casts: it "
                    f"rests on {few} alone, and answers may be less sure until there are more."
                )
            )
        st.button(
            "Use these fitted figures from now on",
            key="keep_fit",
            on_click=_keep,
            args=(fit,),
            help="Writes a dated file beside the trial book, which Undo takes out of use.",
        )
    said = st.session_state.pop("fit_said", "")
    if said:
        st.success(plain(said))
    _next(now)


def _counted(trials: int) -> str:
    return f"{trials} trial{'' if trials == 1 else 's'}"


def _in_use(now: Session, kept: Collection[str]) -> None:
    """Say whose figures all pages show, and which trials behind them are no longer `kept` in the book."""
    if newest_calibration(book_folder()) is None:
        if now.asked.trials:
            st.caption(
                "◆ All pages show figures fitted to the demo's invented casts. Keep a fit of your own below."
            )
        else:
            st.caption(
                "○ All pages show the shipped figures. To predict with your trials, keep the fit below."
            )
        return
    st.toggle("Predict with what the trials taught", value=True, key="use_trials", persist_state="session")
    fault = st.session_state.get("calibration_fault")
    if fault:
        st.warning(plain(fault))
    elif now.asked.trials:
        gone = f" {DEMO_GONE}" if now.casts_replaced else ""
        st.caption(marked("◆ All pages show figures fitted to {}.{}", _counted(now.asked.trials), gone))
        void = [each for each in now.asked.trial_ids if each not in kept]
        if void:
            st.warning(
                plain(
                    f"These figures count {', '.join(void)}, void or not in this book. Use figures fitted "
                    "without, or switch these off."
                )
            )
    else:
        st.caption("○ Switched off: all pages show the shipped figures.")


def _keep(fit: Fit) -> None:
    try:
        path = keep_fit(fit)
    except FileFaults as error:
        st.session_state["fit_said"] = str(error)
        return
    st.session_state["fit_said"] = f"Kept as {path.name}."


def _seen(fit: Fit) -> None:
    rows = chart_rows(fit)
    kinds = list(dict.fromkeys(row["kind"] for row in rows))
    if kinds:
        kind = st.selectbox(
            "Predicted against measured for",
            kinds,
            index=kinds.index(_FIRST) if _FIRST in kinds else 0,
            key="seen_kind",
            format_func=lambda each: KINDS[each].words,
        )
        chosen = [row for row in rows if row["kind"] == kind]
        draw(
            seen_chart(chosen, kind, units()),
            key="seen",
            alt=f"{KINDS[kind].words}: expected against measured for {len(chosen)} readings",
        )
        st.caption(
            "Cross: expected with the shipped figures. Dot: with the fitted ones. Dashed: where both agree."
        )
    st.dataframe(
        [
            {
                "trial": row.trial,
                "reading": row.reading,
                "expected before": row.before,
                "expected after": row.after,
                "measured": row.seen,
                "note": "; ".join(filter(None, (_BOUND if row.bound else "", _MARKS[row.mark]))),
            }
            for row in seen_rows(fit, units())
        ],
        hide_index=True,
        column_config={
            "trial": st.column_config.TextColumn(width=_NARROW + 24),
            "expected before": st.column_config.TextColumn("before", width=_NARROW),
            "expected after": st.column_config.TextColumn("after", width=_NARROW),
            "reading": st.column_config.TextColumn(width=3 * _NARROW),
            "note": st.column_config.TextColumn(width=3 * _NARROW),
            "measured": st.column_config.TextColumn(width=_NARROW + 32),
        },
        key="seen_table",
        alt="Every reading used, one a row",
    )
    moved = [*moved_words(fit, units()), worse_words(fit)]
    if any(moved):
        st.info(bullets(words for words in moved if words))
    _unused(fit)


def _unused(fit: Fit) -> None:
    """Say what was noted and is not in the table, and what each lacks."""
    reasons: dict[str, list[str]] = {}
    for one in fit.evidence.unused:
        reasons.setdefault(one.reason, []).append(one.trial)
    if reasons:
        lines = [f"{', '.join(trials)}: {reason}" for reason, trials in reasons.items()]
        st.info("Noted, and outside what the fit takes:\n" + bullets(lines))


def _agreement(fit: Fit) -> None:
    rows = [
        {
            "reading": KINDS[one.kind].words,
            "how many": one.readings,
            "off before": _off(one.kind, one.before),
            "off after": _off(one.kind, one.after),
        }
        for one in agreement(fit)
    ]
    st.dataframe(rows, hide_index=True, key="agreement", alt="How far readings were off, before and after")
    if fit.left_out:
        st.caption(plain(f"Each cast predicted from the others alone. {left_out_words(fit)}"))
        heads = (*LEFT_OUT_HEADS[:-1], "note")
        table = [dict(zip(heads, left_out_row(one), strict=True)) for one in fit.left_out]
        st.dataframe(table, hide_index=True, key="left_out", alt="How casts are predicted from the others")


def _off(kind: str, size: float) -> str:
    return f"{size:.1%}".replace("%", " %") if KINDS[kind].log else f"{size:.2g}"


def _learned(fit: Fit) -> None:
    known = fit.evidence.catalogue
    sizes = {one.name: size_words(one, known) for one in fit.calibration.figures}
    rows = [
        {
            "figure": figure_words(one.name, known),
            "before": sizes[one.name][0],
            "after": sizes[one.name][1],
            "trials behind it": one.trials,
        }
        for one in fit.calibration.figures
        if one.trials
    ]
    with st.expander("Figures before and after"):
        st.dataframe(rows, hide_index=True, key="learned", alt="Fitted figures before and after the trials")


def _next(now: Session) -> None:
    answer = next_cast(now.asked)
    if answer is None:
        return
    found, weighed = answer
    st.markdown("### The next cast worth making")
    st.markdown(plain(next_sentence(found, catalogue(), units())))
    pieces, reads = st.columns(2)
    with pieces:
        st.caption("Weigh, for one vessel and test pieces of twice its volume")
        rows = weigh_rows(weighed, now.job, catalogue(), units())
        table = [{"powder": name, "weigh": mass} for name, mass in rows]
        st.dataframe(table, hide_index=True, key="next_weigh", alt="What to weigh for the next cast")
    with reads:
        st.caption("Measure, with what each would take off the open doubt alone")
        st.markdown(named({f"{what}, {size}": how for what, how, size in measure_rows(found)}))


def _flagged(fit: Fit) -> None:
    for cast in fit.unexplained:
        st.warning(plain(unexplained_words(cast)))
    for one in fit.calibration.flagged:
        st.warning(plain(flagged_words(one, units())))


def seen_chart(rows: Sequence[dict[str, Any]], kind: str, units: System) -> alt.LayerChart:
    """Return readings of one kind against what was expected: crosses before, dots after, a line where equal.

    Parameters
    ----------
    rows
        From `ui.fit_text.seen_rows`, of one kind.
    kind
        Key of `optimizer.calibration.measurement_errors.KINDS`.
    """
    name = KINDS[kind].quantity
    frame = pd.DataFrame(
        [{key: _shown(row[key], name, units) for key in ("seen", "before", "after")} for row in rows]
    )
    ends = (float(frame.min().min()), float(frame.max().max()))
    scale = alt.Scale(domain=list(ends), nice=True, padding=10)
    word = unit_word(kind, units)
    x = alt.X("seen:Q", title=f"{KINDS[kind].words} measured{word}", scale=scale)
    line = alt.Chart(pd.DataFrame({"seen": ends, "level": ends})).mark_line(strokeDash=[4, 4])
    base = alt.Chart(frame)
    marks = [colored(line.encode(x=x, y=alt.Y("level:Q", scale=scale)), "line")]
    for column, part, shape in (("before", "fails", "cross"), ("after", "holds", "circle")):
        y = alt.Y(f"{column}:Q", title=f"expected{word}", scale=scale)
        dots = base.mark_point(filled=True, size=90, opacity=0.9, shape=shape)
        marks.append(colored(dots.encode(x=x, y=y), part))
    return layered(marks, _HEIGHT)


def unit_word(kind: str, units: System) -> str:
    """Return the unit a kind of reading is shown in, behind a comma; empty for none."""
    word = display_value(1.0, KINDS[kind].quantity, units)[1]
    return f", {word}" if word else ""


def _shown(value: float, name: str, units: System) -> float:
    return display_value(value, name, units)[0]
