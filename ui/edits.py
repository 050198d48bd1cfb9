"""The edits of this window: what the last one did, and the way back through all of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import streamlit as st

from optimizer.solution import Solution
from ui import answers
from ui.batch_text import most_per_mix
from ui.draft import tables_of
from ui.fields import DECISIONS, SHOP, price_fields
from ui.jobs import blend_text
from ui.plain_text import marked, plain
from ui.question import Question
from ui.receipt import Answer, changed_fields, receipt_words
from ui.state import Session, drop_pick, pick, set_base
from ui.trial_answers import fits_kept, put_back_fits
from ui.words import label_of

_NOW, _EDITS, _UNDONE, _TURNING = "seen_now", "edits_made", "edits_undone", "turning_back"
_MOST: Final = 50
"""Edits that can be taken back [count]."""

_USE: Final = "use_trials"


@dataclass(frozen=True)
class Seen:
    """A question and a selected blend that were answered on the page.

    Attributes
    ----------
    uses_trials : bool
        Whether the studio's fit counts.
    fits : int
        Fits this window had kept by then [count].
    """

    asked: Question
    blend: str
    uses_trials: bool = True
    fits: int = 0

    @property
    def answer(self) -> Answer:
        """What was answered, with the grams of a mix of as many vessels as one mix fills."""
        solution = answers.in_hand(self.asked, self.blend)
        return Answer(solution, _grams(self, solution))


@dataclass(frozen=True)
class Edit:
    """What stood before an edit, what was changed, and what that did."""

    before: Seen
    what: str
    did: str


def _before(last: Seen, old: Answer, seen: Seen, new: Answer) -> Solution | None:
    """Return the verdict on the design before as the question now is, where another took its place."""
    mix, there = old.solution.mix, seen.asked.job.materials
    if (
        last.blend
        or seen.blend
        or mix is None
        or new.solution.mix is None
        or not set(mix.blend) <= set(there)
    ):
        return None
    text = blend_text(mix.blend, mix.water_ratio)
    same = text == blend_text(new.solution.mix.blend, new.solution.mix.water_ratio)
    return None if same else answers.checked(seen.asked, text)


def _grams(seen: Seen, solution: Solution) -> dict[str, float]:
    if solution.mix is None:
        return {}
    batch = answers.batch(seen.asked, seen.blend, most_per_mix(solution))
    return {} if batch is None else dict(batch.grams)


def _edits(now: Session) -> list[Edit]:
    """Return the edits of this window, the last one last, after adding one that was made since the last run.

    The words of an edit are kept, not the answer before it, which may long be forgotten.
    """
    seen = Seen(now.asked, now.blend, bool(st.session_state.get(_USE, True)), fits_kept())
    answer = seen.answer
    edits: list[Edit] = st.session_state.setdefault(_EDITS, [])
    last, old = st.session_state.get(_NOW, (seen, answer))
    if last != seen and not st.session_state.get(_TURNING):
        kept = replace(answer, before=_before(last, old, seen, answer))
        did = receipt_words(old, kept, answers.catalogue())
        edits.append(Edit(last, "; ".join(_what(last, seen)), did))
        del edits[:-_MOST]
        st.session_state[_UNDONE] = []
    st.session_state[_TURNING] = False
    st.session_state[_NOW] = (seen, answer)
    return edits


def show_receipt(now: Session) -> None:
    """Say what the last edit changed, with a button that takes it back, then the one before it, and so on."""
    if now.faults:
        return
    edits = _edits(now)
    undone: list[Edit] = st.session_state.get(_UNDONE, [])
    if not edits and not undone:
        return
    with st.container(horizontal=True, vertical_alignment="center", gap="small", key="receipt"):
        if edits:
            st.markdown(
                marked(":small[Last change: {}. **{}**]", edits[-1].what, edits[-1].did), width="stretch"
            )
            st.button("Undo", key="undo", on_click=_undo, icon=":material/undo:", help=plain(_UNDO_HELP))
        else:
            st.markdown(":small[All changes are undone.]", width="stretch")
        if undone:
            st.button("Redo", key="redo", on_click=_redo, icon=":material/redo:")


_UNDO_HELP: Final = (
    f"Takes back the last change, then the one before it, up to {_MOST}. A fit that was kept is taken out "
    "of use: the name of its file then begins with undone."
)


def _what(before: Seen, after: Seen) -> list[str]:
    old, new = tables_of(before.asked.text), tables_of(after.asked.text)
    both = [name for name in old["materials"] if name in new["materials"]]
    prices = (field for name in both for field in price_fields(name))
    told = changed_fields(old, new, (*DECISIONS, *SHOP, *prices), answers.catalogue())
    told += [f"without {each}" for each in _only(old, both)] + [f"with {each}" for each in _only(new, both)]
    if old["currency"] != new["currency"]:
        told.append(f"currency {old['currency']} → {new['currency']}, no figure is converted")
    told += ["another blend selected"] if before.blend != after.blend else []
    told += ["other fitted figures"] if before.asked.calibration != after.asked.calibration else []
    return told or ["the job"]


def _only(tables: Mapping[str, Any], both: Sequence[str]) -> list[str]:
    """Return the labels of the powders of a job that are not in both jobs; what they cost goes with them."""
    known = answers.catalogue()
    return [label_of(name, known) for name in tables["materials"] if name not in both and name in known]


def _undo() -> None:
    """Put back what stood before the last edit."""
    edits: list[Edit] = st.session_state[_EDITS]
    if edits:
        edit = edits.pop()
        seen, _ = st.session_state[_NOW]
        st.session_state[_UNDONE].append(Edit(seen, edit.what, edit.did))
        put_back_fits(edit.before.fits)
        _put(edit.before)


def _redo() -> None:
    """Make the edit again that was undone last; a fit whose file was renamed stays unused."""
    undone: list[Edit] = st.session_state[_UNDONE]
    if undone:
        edit = undone.pop()
        seen, _ = st.session_state[_NOW]
        st.session_state[_EDITS].append(Edit(seen, edit.what, edit.did))
        _put(edit.before)


def _put(seen: Seen) -> None:
    st.session_state[_TURNING] = True
    st.session_state[_USE] = seen.uses_trials
    set_base(seen.asked.text, "job")
    if seen.blend:
        pick(seen.blend)
    else:
        drop_pick()
