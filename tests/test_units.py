"""Quantities: factors against published tables and pint, spellings, and what is refused with a repair."""

from __future__ import annotations

import math
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.errors import QuantityError
from optimizer.nomenclature import QUANTITIES
from optimizer.unit_words import spell
from optimizer.units import convert, display_value, parse, show, show_amount, significant

FACTORS = [
    # (text, unit, value, relative tolerance = half of the last printed digit)
    pytest.param("1 psi", "MPa", 6.894757e-3, 1e-7, id="NIST-SP-811-B8-psi-from-memory"),
    pytest.param("3000 psi", "MPa", 20.684, 3e-5, id="ASTM-C928-3000-psi-is-20.684-MPa-from-memory"),
    pytest.param("1 lb", "kg", 0.45359237, 1e-12, id="international-pound-1959-exact"),
    pytest.param("1 oz", "g", 28.349523125, 1e-12, id="international-pound-1959-a-sixteenth-exact"),
    pytest.param("1 in3", "mL", 16.387064, 1e-12, id="international-inch-1959-cubed-exact"),
    pytest.param("1 in", "mm", 25.4, 1e-12, id="international-inch-1959-exact"),
    pytest.param("1 fl oz", "mL", 29.57353, 2e-7, id="NIST-SP-811-B8-fluid-ounce-from-memory"),
    pytest.param("1 gal", "mL", 3785.412, 2e-7, id="NIST-SP-811-B8-gallon-from-memory"),
    pytest.param("1 mi", "km", 1.609344, 1e-12, id="international-mile-1959-exact"),
    pytest.param("1 lb/ft3", "g/cm3", 0.01601846, 4e-7, id="NIST-SP-811-B8-lb-per-ft3-from-memory"),
    pytest.param("60 lb/ft3", "g/cm3", 0.961, 6e-4, id="ASTM-C317-60-lb-per-ft3-from-memory"),
    pytest.param("1 kgf/cm2", "MPa", 0.0980665, 1e-12, id="standard-gravity-exact"),
    pytest.param("741.7 kgf/cm2", "MPa", 72.7, 6e-4, id="Cardoso-dental-stone-741.7-kgf-is-72.7-MPa"),
    pytest.param("1800 psi", "MPa", 12.4, 4e-3, id="ASTM-C59-00-5.1.2-1800-psi-is-12.4-MPa"),
    pytest.param("4500 psi", "MPa", 31.0, 2e-3, id="UFGS-09210-4500-psi-is-31-MPa"),
    pytest.param("1 N/mm2", "MPa", 1.0, 1e-12, id="SI-definition"),
    pytest.param("1 cal/g", "J/g", 4.184, 1e-12, id="thermochemical-calorie-exact"),
    pytest.param("125 F", "degC", 51.67, 1e-4, id="Fahrenheit-scale-NIST-SP-811-formula"),
    pytest.param("140 F", "degC", 60.0, 1e-12, id="Fahrenheit-scale-NIST-SP-811-formula"),
    pytest.param("-40 F", "degC", -40.0, 1e-12, id="scales-meet-at-minus-forty"),
    pytest.param("296.15 K", "degC", 23.0, 1e-12, id="Celsius-scale-definition"),
    pytest.param("10 F", "K", 50.0 / 9.0, 1e-12, id="a-Fahrenheit-step-is-five-ninths"),
    pytest.param("28 d", "min", 40320.0, 1e-12, id="day-of-1440-minutes"),
]

SPELLINGS = [
    # own arithmetic with the exact factors above: what counts is that the spelling is understood
    ("2,3 kg", "g", 2300.0),
    ("1 200 g", "g", 1200.0),
    ("1\u202f200,5 g", "g", 1200.5),
    ("1 000 000 g", "kg", 1000.0),
    (".5 kg", "g", 500.0),
    ("0,125 kg", "g", 125.0),
    ("1234,567 g", "g", 1234.567),
    ("2.5e3 psi", "psi", 2500.0),
    ("−3 K", "K", -3.0),
    ("55lbs", "lb", 55.0),
    ("25 KG", "kg", 25.0),
    ("12 fl. oz.", "floz", 12.0),
    ("12 fluid ounces", "floz", 12.0),
    ("81 cu in", "in3", 81.0),
    ("81 in³", "in3", 81.0),
    ("81 in^3", "in3", 81.0),
    ("24 °C", "degC", 24.0),
    ("24° C", "degC", 24.0),
    ("24 deg C", "degC", 24.0),
    ("24 C", "degC", 24.0),
    ("24 Celsius", "degC", 24.0),
    ("1h15", "min", 75.0),
    ("1 h 5 min", "min", 65.0),
    ("2 hours 30", "h", 2.5),
    ("1h", "min", 60.0),
    ("0,5 d", "h", 12.0),
    ("8 %", "fraction", 0.08),
    ("0.08", "fraction", 0.08),
    (0.08, "fraction", 0.08),
    ("0.2 %", "%", 0.2),
    ("0.33", "g/g", 0.33),
    ("330 g/kg", "g/g", 0.33),
    ("20 /h", "currency/h", 20.0),
    ("20/hour", "currency/h", 20.0),
    ("20 per h", "currency/h", 20.0),
    ("0.30 /km", "currency/km", 0.30),
    ("0.45359237 /lb", "currency/kg", 1.0),
    ("28", "currency", 28.0),
    (3, "count", 3.0),
    ("88", "-", 88.0),
    ("0.35 W/mK", "W/mK", 0.35),
    ("0.35 W/(m·K)", "W/mK", 0.35),
    ("0 K", "K", 0.0),
    ("20 /%", "1/%", 20.0),
]

REFUSALS = [
    ("1,234 g", "g", "1234 or 1.234"),
    ("-1,234 g", "g", "1234 or 1.234"),
    ("1,234.5 g", "g", "one decimal mark"),
    ("1.234,5 g", "g", "one decimal mark"),
    ("1 2 g", "g", "one decimal mark"),
    ("25", "kg", "Add the unit"),
    (25, "kg", "Add the unit"),
    ("20", "currency/h", "Add the unit: 20 /h"),
    ("5 kg", "fraction", "share in %"),
    ("20 kg", "min", "min, h or d"),
    ("12 oz", "mL", "'fl oz' for a volume"),
    ("12 fl oz", "g", "'oz' for a mass"),
    ("45 m", "min", "'min' for minutes"),
    ("24 MPa", "degC", "these units: C or F"),
    ("24 kg", "MPa", "these units: MPa or psi"),
    ("10 h", "currency/h", "after a stroke"),
    ("20 EUR/h", "currency/h", "after a stroke"),
    ("20 /kg", "currency/h", "can be turned into"),
    ("28 EUR", "currency", "Leave the unit away"),
    ("88 %", "-", "Leave the unit away"),
    ("2.5", "count", "whole number"),
    ("24 mPa", "MPa", "Write MPa"),
    ("24 gr", "g", "Write g"),
    ("24 stone", "g", "not known"),
    ("5²", "g", "one decimal mark"),
    ("24 kg**9", "g", "not known"),
    ("nan", "-", "Begin with a number"),
    ("inf g", "g", "Begin with a number"),
    ("1e400 g", "g", "ordinary size"),
    (math.nan, "fraction", "Begin with a number"),
    (math.inf, "-", "Begin with a number"),
    (10**300, "-", "at most 200"),
    ("9" * 300 + " g", "g", "at most 200"),
    ("", "g", "Begin with a number"),
    ("kg 25", "kg", "Begin with a number"),
    ("__import__('os').getcwd()", "kg", "Begin with a number"),
    ("1 __import__('os')", "kg", "not known"),
    (True, "fraction", "in quotes"),
    (None, "g", "in quotes"),
    (["1 g"], "g", "in quotes"),
]


@pytest.fixture(scope="module")
def registry():
    return pint.UnitRegistry(cache_folder=None)


@pytest.mark.parametrize(("text", "unit", "value", "tolerance"), FACTORS)
def test_factor_is_the_published_one(text, unit, value, tolerance):
    assert parse(text, unit) == pytest.approx(value, rel=tolerance)


@pytest.mark.parametrize(("text", "unit", "value"), SPELLINGS)
def test_spelling_is_understood(text, unit, value):
    assert parse(text, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(("text", "unit", "repair"), REFUSALS, ids=lambda part: repr(part)[:24])
def test_refusal_carries_value_allowed_and_repair(text, unit, repair):
    with pytest.raises(QuantityError) as caught:
        parse(text, unit)
    error = caught.value
    assert repair in error.repair
    assert error.allowed
    assert len(error.value) < 230
    assert error.at("job.toml:x").where == "job.toml:x"


@pytest.mark.parametrize(
    "unit", ["kg", "lb", "oz", "mm", "in3", "psi", "MPa", "lb/ft3", "g/cm3", "d", "W/mK"]
)
@pytest.mark.parametrize("wanted", ["g", "mL", "MPa", "g/cm3", "min", "W/mK", "mm"])
def test_agrees_with_pint_asked_directly(unit, wanted, registry):
    given, aim = registry.Unit(spell(unit, wanted)), registry.Unit(spell(wanted, wanted))
    if given.dimensionality != aim.dimensionality:
        with pytest.raises(QuantityError):
            parse(f"2.5 {unit}", wanted)
    else:
        assert parse(f"2.5 {unit}", wanted) == pytest.approx(
            registry.Quantity(2.5, given).m_as(aim), rel=1e-12
        )


@given(
    st.floats(-1e9, 1e9, allow_nan=False),
    st.sampled_from(
        [("g", "oz"), ("degC", "degF"), ("K", "delta_degF"), ("MPa", "psi"), ("g/cm3", "lb/ft3")]
    ),
)
def test_conversion_there_and_back_returns_the_value(value, pair):
    there = convert(value, pair[0], pair[1])
    assert convert(there, pair[1], pair[0]) == pytest.approx(value, rel=1e-9, abs=1e-9)


@given(st.floats(1e-6, 1e9), st.sampled_from(["g", "kg", "MPa", "degC", "min", "mL", "W/mK", "currency/h"]))
def test_text_with_its_own_unit_reads_back_exactly(value, unit):
    assert parse(f"{value!r} {unit.removeprefix('currency')}", unit) == value


def _outcome(text, unit):
    """Return the number, or the repair if the text is refused; any other error is a crash."""
    try:
        return parse(text, unit)
    except QuantityError as error:
        return error.repair


@settings(max_examples=300)
@given(st.text(max_size=40), st.sampled_from(["g", "degC", "K", "fraction", "currency/h", "min", "-", "1/%"]))
def test_any_text_is_a_finite_number_or_a_quantity_error(text, unit):
    outcome = _outcome(text, unit)
    assert outcome if isinstance(outcome, str) else math.isfinite(outcome)


@settings(max_examples=200)
@given(
    st.text("0123456789.,eE+- gkmFC%/°h*^()", max_size=16), st.sampled_from(["g", "degC", "min", "fraction"])
)
def test_numberlike_text_is_a_finite_number_or_a_quantity_error(text, unit):
    outcome = _outcome(text, unit)
    assert outcome if isinstance(outcome, str) else math.isfinite(outcome)


SHOWN = [
    # digits are those of the nomenclature; figures: own arithmetic with the factors tested above
    (24.13, "dry_strength", "metric", "24 MPa"),
    (24.13, "dry_strength", "us", "3500 psi"),
    (365.4, "dry_mass", "metric", "365 g"),
    (365.4, "dry_mass", "us", "12.9 oz"),
    (1.8923, "fresh_density", "metric", "1.89 g/cm3"),
    (1.8923, "fresh_density", "us", "118 lb/ft3"),
    (52.0, "inner_wall_temperature", "metric", "52 °C"),
    (52.0, "inner_wall_temperature", "us", "126 °F"),
    (-0.04, "heat_margin", "metric", "0.0 K"),
    (10.0, "heat_margin", "us", "18 °F difference"),
    (0.2284, "porosity", "metric", "23 %"),
    (0.0412, "crystalline_silica", "us", "4.1 %"),
    (88.04, "whiteness", "metric", "88.0"),
    (3.0, "sealer_coats", "metric", "3"),
    (12.0, "sealer_coats", "us", "12"),
    (3.4085, "cost", "metric", "3.41"),
    (123.4, "cost", "us", "123.40"),
    (34.6, "demold_time", "us", "35 min"),
    (math.inf, "demold_time", "metric", "never"),
    (math.nan, "dry_strength", "metric", "unknown"),
    ("low", "damp_risk", "us", "low"),
]


@pytest.mark.parametrize(("value", "name", "system", "text"), SHOWN)
def test_show_gives_digits_and_unit_of_the_system(value, name, system, text):
    assert show(value, name, system) == text


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("name", [name for name, row in QUANTITIES.items() if row.unit != "class"])
def test_every_quantity_shows_and_reads_back(name, system):
    value, row = 12.0 if QUANTITIES[name].unit != "fraction" else 0.12, QUANTITIES[name]
    number, _ = display_value(value, name, system)
    text = show(value, name, system)
    assert float(text.split()[0]) == pytest.approx(number, rel=0.06)
    assert parse(text, row.unit) == pytest.approx(value, rel=0.06)


def test_amounts_outside_the_vocabulary_have_us_counterparts():
    assert show_amount(25.0, "kg", 3, "us") == "55.1 lb"
    assert show_amount(85.0, "mm", 3, "us") == "3.35 in"
    assert show_amount(0.08, "fraction", 2) == "8.0 %"
    assert show_amount(1.0, "currency/kg", 3, "us") == "0.454 /lb"


@given(st.floats(-1e8, 1e8, allow_nan=False), st.integers(1, 5))
def test_significant_digits_round_within_half_of_the_last(value, digits):
    assume_small = 10.0 ** (math.floor(math.log10(abs(value))) - digits + 1) if value else 1.0
    step = max(assume_small, 1e-6)
    text = significant(value, digits)
    assert abs(float(text) - value) <= 0.5000001 * step
    assert "e" not in text


def test_units_are_read_by_many_threads_at_once():
    texts = [
        (f"{k} {unit}", wanted) for k in range(1, 40) for unit, wanted in [("psi", "MPa"), ("F", "degC")]
    ]
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda pair: parse(*pair), texts))
    assert answers == [parse(*pair) for pair in texts]


def test_importing_units_and_metric_text_leave_pint_alone():
    code = (
        "import sys; from optimizer.units import parse; "
        "parse('25 kg', 'kg'); parse('24 C', 'degC'); parse('1h15', 'min'); parse('8 %', 'fraction'); "
        "sys.exit('pint' in sys.modules)"
    )
    root = Path(__file__).parents[1]
    assert subprocess.run([sys.executable, "-c", code], check=False, cwd=root).returncode == 0
