"""Invented trials for the checks of the trial book: one full, one half filled, and generated ones."""

from __future__ import annotations

import datetime as dt

from hypothesis import strategies as st

from optimizer.trials.records import (
    EXPOSURES,
    KINDS,
    METHODS,
    SENSES,
    STATES,
    Burn,
    Portion,
    Reject,
    Strength,
    Trial,
    Weighing,
)

TODAY = dt.date(2026, 11, 25)

FULL = Trial(
    date=dt.date(2026, 3, 2),
    id="2026-03-02-a",
    portions=(
        Portion("gypsum_cement", 300.0, "G-17"),
        Portion("marble_flour", 100.0, "M-3"),
        Portion("retarder", 0.4),
    ),
    water=121.5,
    water_temperature=18.5,
    room_temperature=21.0,
    humidity=0.45,
    damp_cure=0.0,
    vessel="tumbler 85 x 95",
    cavity_volume=215.0,
    cast=2,
    labels=("V-0001", "V-0002"),
    sold_order="order 12",
    fresh_density=1.87,
    window_end=16.0,
    initial_set=18.0,
    final_set=26.0,
    demold=41.0,
    demold_first=39.0,
    casting_peak=47.0,
    whiteness=91.5,
    whiteness_error=1.2,
    absorption=0.171,
    absorption_error=0.007,
    coats=2,
    weighings=(Weighing(0.0, 402.0), Weighing(1.0, 371.0), Weighing(2.0, 362.0), Weighing(3.0, 361.8)),
    strengths=(
        Strength(21.5, 60.0, "wet", "compressive", "cube", "=", 1.5),
        Strength(7.0, 10080.0, "dry", "flexural", "bent bar", ">="),
        Strength(44.0, None, "dry", "compressive", "test house"),
    ),
    burns=(Burn(44.5, 61.0, 1.0, 4.5, 1, "repeated burns", 21.0),),
    rejects=(Reject("bubble at the rim", 1),),
    remarks="poured slowly;\n=no formula, 'quoted' \"twice\", tab\there, 20 °C, größer",
)

HALF = Trial(
    date=dt.date(2026, 3, 5),
    portions=(Portion("gypsum_cement", 250.0, "G-17"), Portion("rapid_set_mortar", 250.0, "R-9")),
    water=150.0,
    initial_set=12.0,
)

_EVIL = (
    "=1+1",
    "+1",
    "-1",
    "@x",
    "'=1",
    "''=",
    "'",
    '"',
    ";",
    ",",
    "a\nb",
    "\t=1",
    "\n",
    "1,5",
    "1.234",
    "0012",
    "",
)
_SIGNS = st.characters(exclude_categories=("Cs", "Cc"), exclude_characters="\ufffe\uffff")
_TEXT = st.one_of(st.sampled_from(_EVIL), st.text(st.one_of(_SIGNS, st.sampled_from("\n\t")), max_size=20))
_NAME = st.text(_SIGNS, min_size=1, max_size=12).map(str.strip).filter(bool)
_WORD = st.text(_SIGNS, min_size=1, max_size=8).filter(lambda text: text.split() == [text])
_LABEL = _WORD.filter(lambda text: not {",", ";"} & {*text})


def _number(least, most):
    return st.floats(least, most, allow_subnormal=False)


def _maybe(strategy):
    return st.one_of(st.none(), strategy)


@st.composite
def trials(draw):
    """Any trial that passes the checks: odd signs, formulas, every digit of a float."""
    times = sorted(draw(st.lists(_number(0.0, 1e5), min_size=4, max_size=4)))
    seen = draw(st.lists(st.booleans(), min_size=4, max_size=4))
    initial, final, first, demold = (time if kept else None for time, kept in zip(times, seen, strict=True))
    ages = sorted(set(draw(st.lists(_number(0.0, 300.0), max_size=4))))
    masses = sorted(draw(st.lists(_number(0.1, 1e4), min_size=len(ages), max_size=len(ages))), reverse=True)
    burns = draw(st.lists(_BURNS, max_size=2))
    return Trial(
        date=draw(st.dates(dt.date(1900, 1, 1), TODAY - dt.timedelta(days=700))),
        id=draw(_WORD),
        portions=tuple(draw(st.lists(_PORTIONS, max_size=3))),
        water=None if masses else draw(_maybe(_number(0.0, 1e5))),
        water_temperature=draw(_maybe(_number(0.0, 95.0))),
        room_temperature=draw(_maybe(_number(-20.0, 60.0))),
        humidity=draw(_maybe(_number(0.0, 1.0))),
        damp_cure=draw(_maybe(_number(0.0, 1e5))),
        vessel=draw(st.one_of(st.just(""), _NAME)),
        cavity_volume=draw(_maybe(_number(1.0, 1e5))),
        cast=draw(_maybe(st.integers(50, 10_000))),
        labels=tuple(dict.fromkeys(draw(st.lists(_LABEL, max_size=3)))),
        sold_order=draw(st.one_of(st.just(""), _NAME)),
        fresh_density=draw(_maybe(_number(0.2, 4.0))),
        initial_set=initial,
        final_set=final,
        demold=demold,
        demold_first=first,
        casting_peak=draw(_maybe(_number(-20.0, 110.0))),
        whiteness=draw(_maybe(_number(0.0, 100.0))),
        whiteness_error=draw(_maybe(_number(0.0, 50.0))),
        absorption=draw(_maybe(_number(0.0, 2.0))),
        absorption_error=draw(_maybe(_number(0.0, 1.0))),
        coats=draw(_maybe(st.integers(0, 20))),
        weighings=tuple(Weighing(age, mass) for age, mass in zip(ages, masses, strict=True)),
        strengths=tuple(draw(st.lists(_STRENGTHS, max_size=3))),
        burns=tuple(burn for burn in burns if burn.outer is not None or burn.inner is not None),
        rejects=tuple(draw(st.lists(st.builds(Reject, _NAME, st.integers(1, 15)), max_size=3))),
        remarks=draw(_TEXT),
    )


_PORTIONS = st.builds(Portion, _NAME, _number(0.0, 1e6), st.one_of(st.just(""), _NAME))
_STRENGTHS = st.builds(
    Strength,
    _number(0.0, 300.0),
    st.one_of(st.none(), _number(1e5, 1e6)),
    st.sampled_from(("", *STATES)),
    st.sampled_from(KINDS),
    st.sampled_from(METHODS),
    st.sampled_from(SENSES),
    _maybe(_number(0.0, 150.0)),
)
_BURNS = st.builds(
    Burn,
    _maybe(_number(-20.0, 400.0)),
    _maybe(_number(-20.0, 800.0)),
    _maybe(_number(0.0, 100.0)),
    _maybe(_number(0.01, 100.0)),
    st.integers(1, 50),
    st.sampled_from(("", *EXPOSURES)),
    _maybe(_number(-20.0, 60.0)),
)
