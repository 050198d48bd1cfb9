"""The last edit of this window: what stood before it, what it did, and the way back."""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

from optimizer.solution import Solution
from ui import answers
from ui.draft import tables_of
from ui.fields import DECISIONS, SHOP, price_fields
from ui.plain_text import marked
from ui.question import Question
from ui.receipt import Answer, changed_fields, receipt_words
from ui.state import Session, drop_pick, pick, set_base

_NOW, _BEFORE = "seen_now", "seen_before"


@dataclass(frozen=True)
class Seen:
    """A question and a selected blend that were answered on the page."""

    asked: Question
    blend: str

    @property
    def answer(self) -> Answer:
        """What was answered, with the grams of one mix of the shop."""
        solution = answers.in_hand(self.asked, self.blend)
        return Answer(solution, _grams(self, solution))


def _grams(seen: Seen, solution: Solution) -> dict[str, float]:
    if solution.mix is None:
        return {}
    batch = answers.batch(seen.asked, seen.blend, seen.asked.job.shop.molds_per_mix)
    return {} if batch is None else dict(batch.grams)


def _last_edit(now: Session) -> tuple[Seen, Seen] | None:
    """Return what stood before the last edit and what stands now; None before the first."""
    seen = Seen(now.asked, now.blend)
    last = st.session_state.get(_NOW)
    if last is not None and last != seen:
        st.session_state[_BEFORE] = last
    st.session_state[_NOW] = seen
    before = st.session_state.get(_BEFORE)
    return None if before is None else (before, seen)


def show_receipt(now: Session) -> None:
    """Say what the last edit changed, with a button that takes it back."""
    edit = _last_edit(now)
    if edit is None or now.faults:
        return
    before, after = edit
    what = "; ".join(_what(before, after))
    did = receipt_words(before.answer, after.answer, answers.catalogue())
    with st.container(horizontal=True, vertical_alignment="center", gap="small", key="receipt"):
        st.markdown(marked(":small[Last change: {}. **{}**]", what, did), width="stretch")
        if before.asked.calibration == after.asked.calibration:
            st.button("Undo", key="undo", on_click=_undo, args=(before,), icon=":material/undo:")


def _what(before: Seen, after: Seen) -> list[str]:
    old, new = tables_of(before.asked.text), tables_of(after.asked.text)
    prices = (field for name in answers.catalogue() for field in price_fields(name))
    told = changed_fields(old, new, (*DECISIONS, *SHOP, *prices), answers.catalogue())
    told += ["other powders"] if old["materials"] != new["materials"] else []
    if old["currency"] != new["currency"]:
        told.append(f"currency {old['currency']} → {new['currency']}, no figure is converted")
    told += ["another blend selected"] if before.blend != after.blend else []
    told += ["other fitted figures"] if before.asked.calibration != after.asked.calibration else []
    return told or ["the job"]


def _undo(before: Seen) -> None:
    """Put back what stood before the last edit; the same button then brings the edit back."""
    set_base(before.asked.text, "job")
    if before.blend:
        pick(before.blend)
    else:
        drop_pick()
