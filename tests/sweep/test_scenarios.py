"""What may be varied and how it is written; values follow the readers of job files, held by other tests."""

from __future__ import annotations

import itertools

import pytest
import tomli_w

from optimizer.errors import FileFaults
from optimizer.jobfile import parse_job
from optimizer.specs import load_catalogue
from optimizer.sweep import read_scenarios
from optimizer.sweep.scenarios import changed, variable_of
from optimizer.sweep.worker import scenario_key
from optimizer.toml_files import parse_toml
from tests.sweep.samples import JOB, planned

DATA = parse_toml(JOB, "job.toml")


def axis(text):
    (found,) = read_scenarios([text], None, DATA).axes
    return found


def faults(text, table=None):
    with pytest.raises(FileFaults) as caught:
        read_scenarios([text] if text else [], table, DATA)
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "values"),
    [
        # own arithmetic: equal steps, both ends in
        pytest.param(
            "prices.gypsum_cement.price=30:60:16", tuple(30.0 + 2.0 * k for k in range(16)), id="16-steps"
        ),
        pytest.param("limits.whiteness=80:94:15", tuple(80.0 + k for k in range(15)), id="limit"),
        pytest.param("shop.temperature=10C:35C:6", (10.0, 15.0, 20.0, 25.0, 30.0, 35.0), id="Celsius"),
        pytest.param("shop.temperature=50F:95F:2", (10.0, 35.0), id="Fahrenheit-NIST-SP-811"),
        pytest.param("shop.temperature=10:35 C:2", (10.0, 35.0), id="unit-of-the-last"),
        pytest.param("shop.shift=7h|7.5 h", (420.0, 450.0), id="hours"),
        pytest.param("shop.humidity=0,4|60 %", (0.4, 0.6), id="decimal-comma"),
        pytest.param("shop.humidity=0.1:0.3:3", (0.1, 0.2, 0.3), id="no-dust-of-binary-fractions"),
        pytest.param("shop.molds=1:10:4", (1.0, 4.0, 7.0, 10.0), id="counts"),
        pytest.param("shop.overnight=true|false", (True, False), id="flag"),
        pytest.param("candle.exposure=continuous|single hour", ("continuous", "single hour"), id="words"),
        pytest.param("objective=cost|max whiteness", ("cost", "max whiteness"), id="objective"),
        pytest.param("limits.damp_risk=low|medium", ("low", "medium"), id="class"),
        pytest.param("shop.wage=30 /h:10 /h:3", (30.0, 20.0, 10.0), id="falling"),
        pytest.param("shop.wage=20/h|20 /h|20.0 /h", (20.0,), id="each-once"),
    ],
)
def test_axes_are_read_in_the_units_of_their_keys(text, values):
    assert axis(text) == values


@pytest.mark.parametrize(
    ("text", "name", "written"),
    [
        ("limits.dry_strength=30 MPa", "limits.dry_strength >=", ">= 30 MPa"),
        ("limits.whiteness=90", "limits.whiteness >=", ">= 90"),
        ("limits.whiteness<=90", "limits.whiteness <=", "<= 90"),
        ("limits.demold_time=1h15", "limits.demold_time <=", "<= 75 min"),
        ("limits.dry_mass<=300 g", "limits.dry_mass <=", [">= 200 g", "<= 300 g"]),
        ("limits.dry_mass>=250 g", "limits.dry_mass >=", ["<= 365 g", ">= 250 g"]),
        ("limits.dry_mass=≥ 250 g", "limits.dry_mass >=", ["<= 365 g", ">= 250 g"]),
    ],
)
def test_a_limit_keeps_its_sense_and_the_one_beside_it(text, name, written):
    scenarios = read_scenarios([text], None, DATA)
    (variable,), ((value,),) = scenarios.variables, list(scenarios)
    assert variable.name == name
    assert changed(DATA, {variable: value})["limits"][variable.path[1]] == written
    assert DATA["limits"]["dry_mass"] == ["<= 365 g", ">= 200 g"]


def test_a_grid_is_every_combination_in_order():
    scenarios = read_scenarios(["shop.molds=1|2, shop.humidity=0.4|0.5", "confidence=0.5|0.9"], None, DATA)
    assert list(scenarios) == list(itertools.product((1.0, 2.0), (0.4, 0.5), (0.5, 0.9)))
    assert len(scenarios) == 8


def test_a_table_gives_rows_and_empty_cells_keep_the_job(tmp_path):
    table = tmp_path / "scenarios.csv"
    table.write_text(
        "\ufeffshop.temperature [C];limits.dry_mass <=;shop.overnight\n"
        "10 C;0,3 kg;true\n\n;300 g;\n10 C;300 g;true\n"
    )
    scenarios = read_scenarios(["shop.molds=1|2"], table, DATA)
    rows = [(10.0, 300.0, True), (None, 300.0, None)]
    assert list(scenarios) == [(*row, molds) for row in rows for molds in (1.0, 2.0)]


def test_every_combination_is_a_job_or_is_said_to_be_none():
    catalogue = load_catalogue()
    plan, scenarios = planned("shop.wage=20 /h|25 /h, candle.wicks=1|2, bounds.marble_flour.max=0|0.3")
    for values in scenarios:
        text = tomli_w.dumps(changed(DATA, dict(zip(plan.variables, values, strict=True))))
        job = parse_job(text, catalogue, "job.toml")
        assert (job.shop.wage, job.candle.wicks, job.bounds["marble_flour"].most) == values


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("limits.whitness=80:90:2", "nearest: limits.whiteness"),
        ("wage=1:2:2", "nearest: shop.wage"),
        ("prices.silica_sand.price=1:2:2", "a key of the job file"),  # not among the job's materials
        ("prices.gypsum_cement.breaks=1:2:2", "a key of the job file"),
        ("title=a|b", "a key of the job file"),
        ("shop.wage<=1:2:2", "a key of the job file"),
        ("shop.temperature=10:35:6", "Add the unit"),
        ("limits.whiteness=80:94", 'Add how many values: "80:94:15"'),
        ("limits.demold_time=40 min:60 min", "Add how many values"),
        ("limits.whiteness=80:94:many", "Write a whole count"),
        ("shop.temperature=10C:35C:1", "2 to 10000 values"),
        ("shop.temperature=10C:35C:999999", "2 to 10000 values"),
        ("shop.molds=1:2:3", "whole number"),
        ("shop.humidity=0.5:1.5:3", "at most 1"),
        ("limits.porosity=0.2:2:3", "cannot bind"),
        ("shop.overnight=yes", "true or false"),
        ("shop.wage=1/h:2/h:2, shop.wage=3/h", "each key once"),
        ("nonsense", "key=first:last:count"),
        (",".join(f"k{k}=1" for k in range(51)), "51 keys"),
        ("", "Say what is to vary"),
        (",".join(f"shop.{k}=0 min:9 min:5000" for k in ("prep", "mixing")), "at most 10,000,000 scenarios"),
    ],
)
def test_faults_say_where_and_what_instead(text, words):
    assert words in faults(text)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "0 rows"),
        (b"shop.wage\n", "0 rows"),
        (b"shop.wag\n1 /h\n", "nearest: shop.wage"),
        (b"shop.wage\n20 /h\n1 kg\n", "row 3, shop.wage"),
        (b"shop.wage\n20 /h,3\n", "row 2: read 2 cells"),
        (b'shop.wage\n"20 /h\n', "line"),
        (b"shop.wage\n\xff\n", "not UTF-8"),
        (b"x," * 60 + b"x\n", "61 columns"),
    ],
)
def test_faults_of_a_table_name_row_and_column(tmp_path, content, words):
    table = tmp_path / "scenarios.csv"
    table.write_bytes(content)
    assert words in faults("", table)


def test_a_missing_table_is_a_fault(tmp_path):
    assert "No such file" in faults("", tmp_path / "none.csv")
    assert "a folder" in faults("", tmp_path)


def test_the_key_of_a_scenario_is_its_values_whatever_their_order():
    plan, scenarios = planned("shop.molds=1|2, shop.humidity=0.4|0.5")
    turned, others = planned("shop.humidity=0.4|0.5, shop.molds=1|2")
    keys = [{scenario_key(p, values) for values in s} for p, s in ((plan, scenarios), (turned, others))]
    assert keys[0] == keys[1]
    assert len(keys[0]) == 4
    other, _ = planned("shop.molds=1|2", text=JOB.replace("41.50", "41.60"))
    assert other.fingerprint != plan.fingerprint


def test_a_variable_needs_a_key_of_this_job():
    with pytest.raises(FileFaults, match="nearest"):
        variable_of("prices..price", DATA, "--vary")
