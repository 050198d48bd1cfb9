"""A powder known from its bag only: what was typed stands, the rest is its model's with wider ranges.

Expected sizes follow from the stated rules (twice the range on the log scale, x/: 2 for set times:
assumptions) and from arithmetic done here; lightness and reflectance by CIE 15: Y/Yn = ((L* + 16) /
116)^3, from memory.
"""

from __future__ import annotations

import json
import math
import shutil
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from optimizer.calibration.first_cast import first_cast
from optimizer.errors import FileFaults
from optimizer.job import Price
from optimizer.jobfile import parse_job, template
from optimizer.specs import load_catalogue
from optimizer.specs.bag_facts import BagFacts, read_facts
from optimizer.specs.new_material import new_material
from optimizer.studies.check import check
from ui.cli import run
from ui.new_powder import Paid, typed_powder

CATALOGUE = load_catalogue()
BLEND = {"gypsum_cement": 0.5, "white_csa_cement": 0.5}


def bag(strength="28 d = 42.5 MPa", **facts):
    return BagFacts(strengths=(strength,) if strength else (), **facts)


def with_new(folder, *powders, like="csa_cement"):
    """Return the catalogue with powders, named in order, written to and read back from a folder."""
    for number, facts in enumerate(powders):
        made = new_material(f"new_{number}", like, facts, CATALOGUE)
        (folder / f"new_{number}.toml").write_text(made.text, encoding="utf-8")
    return load_catalogue(folder)


def demo(catalogue, **prices):
    job = parse_job(template("demo"), catalogue, "demo")
    return replace(job, prices={**job.prices, **prices})


@pytest.mark.parametrize("like", [name for name in CATALOGUE if name != "water"])
def test_every_material_can_be_a_model_and_its_file_reads_back(like, tmp_path):
    made = new_material("new_0", like, bag(""), CATALOGUE)
    (tmp_path / "new_0.toml").write_text(made.text, encoding="utf-8")
    read = load_catalogue(tmp_path)["new_0"]
    assert replace(read, path="") == made.material
    assert made.typed == ()
    assert made.text.count("# inherited from") == len(made.inherited) + bool(read.phases)
    for name, figure in CATALOGUE[like].figures.items():
        ours = read.figures[name]
        assert ours.value == pytest.approx(figure.value, rel=1e-3)
        assert ours.low <= figure.low * 1.001
        assert ours.high >= figure.high * 0.999


def test_shipped_materials_do_not_move_by_a_digit(tmp_path):
    catalogue = with_new(tmp_path, bag("28 d = 20 MPa"), bag("28 d = 90 MPa"), bag(""))
    job = demo(CATALOGUE)
    before, after = (check(job, BLEND, each) for each in (CATALOGUE, catalogue))
    assert after.properties == before.properties
    assert after.cost == before.cost
    # a job that lists the new powders predicts the old blend alike, too
    listed = replace(job, materials=(*job.materials, "new_0", "new_1", "new_2"))
    beside = check(listed, BLEND, catalogue).properties
    for name, each in before.properties.items():
        last_bit = each.value if isinstance(each.value, str) else pytest.approx(each.value, rel=1e-12)
        assert beside[name].value == last_bit, name


def test_a_stronger_class_gives_a_stronger_vessel_and_earlier_demolding(tmp_path):
    catalogue = with_new(tmp_path, *(bag(f"28 d = {each} MPa") for each in (32.5, 42.5, 52.5, 62.5)))
    job = demo(catalogue)
    thin = replace(job, vessel=replace(job.vessel, wall=6.0))  # one that leaves by the strength of its cement
    seen = [
        check(thin, {"gypsum_cement": 0.3, f"new_{number}": 0.7}, catalogue).properties for number in range(4)
    ]
    for weak, strong in pairwise(seen):
        assert strong["dry_strength"].value > weak["dry_strength"].value
        assert strong["wet_strength"].value > weak["wet_strength"].value
        assert strong["demold_time"].value < weak["demold_time"].value


def test_the_price_breaks_even_where_hand_arithmetic_puts_it(tmp_path):
    """Cost is a straight line in the price of a pack: two prices give the one at which both cost alike."""
    catalogue = with_new(tmp_path, bag())
    blend = {"gypsum_cement": 0.5, "new_0": 0.5}
    own = {"csa_cement": Price(25.0, 45.0)}
    present = check(demo(catalogue, **own), {"gypsum_cement": 0.5, "csa_cement": 0.5}, catalogue).cost

    def cost(price):
        return check(demo(catalogue, new_0=Price(25.0, price), **own), blend, catalogue).cost

    low, high = cost(20.0), cost(40.0)
    even = 20.0 + (present - low) * 20.0 / (high - low)
    assert even > 0.0
    assert cost(even) == pytest.approx(present, rel=1e-9)
    assert cost(0.99 * even) < present < cost(1.01 * even)


def test_early_strengths_scale_with_the_late_one_where_only_that_is_stated():
    model = {point.age: point.strength.value for point in CATALOGUE["csa_cement"].reference_points}
    made = new_material("new_0", "csa_cement", bag("28 d = 30 MPa"), CATALOGUE).material
    own = {point.age: point.strength for point in made.reference_points}
    early, late = min(model), max(model)
    assert own[late].value == 30.0
    assert own[late].source == "bag"
    assert own[early].value == pytest.approx(model[early] * 30.0 / model[late], rel=1e-3)
    shipped = CATALOGUE["csa_cement"].reference_points[0].strength
    # twice the range on the log scale
    assert math.log(own[early].high / own[early].value) == pytest.approx(
        2.0 * math.log(shipped.high / shipped.value), rel=1e-3
    )


def test_a_class_alone_is_the_strength_after_28_days():
    """EN 197-1 (from memory) names cements by it; gypsum, which doubles on drying, is asked wet or dry."""
    class_alone, faults = read_facts(BagFacts(strengths=("52.5 MPa",), color="light grey"))
    stated, _ = read_facts(BagFacts(strengths=("28 d = 52.5 MPa",), color="light gray"))
    assert faults == ()
    assert class_alone == stated
    for written in ("52.5 N", "52,5R"):
        assert read_facts(BagFacts(strengths=(written,), color="light grey")) == (stated, ())
    _, (unread,) = read_facts(BagFacts(strengths=("strong",)))
    assert "28 d = 42.5 MPa" in unread.repair


def test_two_strengths_stated_are_both_kept_and_no_other():
    facts = BagFacts(strengths=("3 h = 15 MPa", "7 d = 40 MPa"))
    made = new_material("new_0", "csa_cement", facts, CATALOGUE).material
    assert [(point.age, point.strength.value) for point in made.reference_points] == [
        (180.0, 15.0),
        (10080.0, 40.0),
    ]


@pytest.mark.parametrize(
    ("facts", "factor"), [({}, 2.0), ({"set_begins": "20 min"}, 1.4), ({"set_begins": "45 min"}, 1.4)]
)
def test_set_times_of_an_unknown_bag_lie_within_a_factor_of_two(facts, factor):
    figures = new_material("new_0", "csa_cement", bag(**facts), CATALOGUE).material.figures
    begins, ends = figures["set_initial"], figures["set_final"]
    assert begins.high / begins.value == pytest.approx(factor, rel=1e-3)
    assert ends.value / begins.value == pytest.approx(
        CATALOGUE["csa_cement"].figure("set_final") / CATALOGUE["csa_cement"].figure("set_initial"), rel=1e-3
    )
    assert ends.high / ends.value == pytest.approx(2.0, rel=1e-3)


def test_sand_changes_density_water_and_silica_by_arithmetic():
    facts = bag(sand="60 %")
    made = new_material("new_0", "csa_cement", facts, CATALOGUE).material
    cement = CATALOGUE["csa_cement"].figure("density")
    assert made.phases["sand"] == pytest.approx(0.6)
    assert math.fsum(made.phases.values()) == pytest.approx(1.0, abs=1e-6)
    assert made.figure("density") == pytest.approx(1.0 / (0.4 / cement + 0.6 / 2.65), rel=1e-3)
    assert made.figure("crystalline_silica") == pytest.approx(0.6 * 0.97, rel=1e-3)


def test_lightness_becomes_reflectance():
    made = new_material("new_0", "csa_cement", bag(color="90"), CATALOGUE).material
    assert made.figure("reflectance") == pytest.approx((106.0 / 116.0) ** 3, rel=1e-3)


def test_every_fault_of_what_was_typed_comes_at_once():
    facts = BagFacts(set_begins="soon", set_ends="5", silica="lots", tested="x", strengths=("28 = 4", "x"))
    with pytest.raises(FileFaults) as told:
        new_material("Budget CSA", "csa_cemen", facts, CATALOGUE)
    assert [fault.where for fault in told.value.faults] == [
        *("name", "like", "set_begins", "set_ends", "silica", "tested", "strength", "strength", "strength"),
    ]


@pytest.mark.parametrize(
    ("like", "facts", "where"),
    [
        ("gypsum_cement", BagFacts(strengths=("1 h = 20 MPa",)), "strength"),
        ("marble_flour", BagFacts(strengths=("1 d = 20 MPa",)), "strength"),
        ("csa_cement", BagFacts(sand="50 %"), "sand"),
        ("csa_cement", BagFacts(set_begins="20 min", set_ends="10 min"), "set_ends"),
    ],
)
def test_what_a_powder_cannot_be_is_told(like, facts, where):
    with pytest.raises(FileFaults) as told:
        new_material("new_0", like, facts, CATALOGUE)
    assert [fault.where for fault in told.value.faults] == [where]


def test_the_first_cast_is_the_powder_alone_and_takes_doubt_off(tmp_path):
    catalogue = with_new(tmp_path, bag())
    found, _, weighed = first_cast("new_0", catalogue)
    assert set(weighed) == {"new_0", "water"}
    assert found.share > 0.5
    assert "initial_set" in found.alone


def test_the_first_cast_of_a_filler_is_three_tenths_of_it_in_a_binder():
    """Of the dry powder, by mass (judgement): 30 to 70."""
    found, _, weighed = first_cast("marble_flour", CATALOGUE)
    assert sum(found.cast.blend.values()) == pytest.approx(1.0)
    (binder,) = set(weighed) - {"marble_flour", "water"}
    assert weighed["marble_flour"] / weighed[binder] == pytest.approx(3.0 / 7.0, rel=0.01)


def test_the_command_keeps_a_powder_and_a_job_that_may_use_it(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(["init", "demo.toml", "--demo"]) == 0
    words = ["materials", "new", "budget_csa", "--like", "csa_cement", "--strength", "28 d = 42.5 MPa"]
    paid = ["--price", "22", "--pack", "25 kg", "--job", "demo.toml"]
    capsys.readouterr()
    assert run([*words, *paid, "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["typed"] == ["wet strength at 28 d"]
    path = Path(said["written"])
    before = path.read_bytes()
    asked = [
        "--blend",
        "gypsum_cement=50, budget_csa=50",
        "--against",
        "gypsum_cement=50, white_csa_cement=50",
    ]
    assert run(["check", said["job"], *asked, "--specs", str(path.parent), "--json"]) in (0, 3, 5)
    answer = json.loads(capsys.readouterr().out)
    assert answer["saving"] != 0.0
    # the same name again is refused, and the file is untouched
    assert run(words) == 4
    assert path.read_bytes() == before


def test_a_bad_price_keeps_nothing(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run(["init", "demo.toml", "--demo"]) == 0
    words = [
        "materials",
        "new",
        "budget_csa",
        "--like",
        "csa_cement",
        "--job",
        "demo.toml",
        "--pack",
        "25 kg",
    ]
    assert run([*words, "--price", "cheap"]) == 4
    assert not Path("own_materials").exists()
    assert [each.name for each in tmp_path.iterdir()] == ["demo.toml"]


def test_every_fault_of_facts_price_and_job_comes_at_once_and_keeps_nothing(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(["init", "demo.toml", "--demo"]) == 0
    facts = [
        "--color",
        "purple",
        "--strength",
        "soon",
        "--price",
        "31.00 USD",
        "--pack",
        "25",
        "--job",
        "no.toml",
    ]
    capsys.readouterr()
    assert run(["materials", "new", "budget_csa", "--like", "csa_cement", *facts]) == 4
    told = [line.partition(":")[0] for line in capsys.readouterr().err.splitlines()]
    assert told == ["color", "strength", "no.toml", "pack"]
    assert [each.name for each in tmp_path.iterdir()] == ["demo.toml"]


@pytest.mark.parametrize(
    ("price", "job", "read"),
    [
        ("22", "", "22"),
        ("31.00 EUR", "", "31.00"),
        ("EUR 31,50", "EUR", "31,50"),
        ("€31.50", "EUR", "31.50"),
        ("31 eur", "", "31"),
    ],
)
def test_a_price_is_read_with_its_currency_where_that_is_the_jobs(price, job, read, tmp_path):
    typed = typed_powder("new_0", "csa_cement", bag(), ("25 kg", price), tmp_path, job)
    assert typed.paid == Paid("25 kg", read, "" if price == "22" else "EUR")


@pytest.mark.parametrize(
    ("pack", "price", "where"),
    [
        ("25 kg", "31 USD", "price"),
        ("25 kg", "EUR 31 USD", "price"),
        ("25 kg", "4.5 EUR/kg", "price"),
        ("25 kg", "1,250.00 EUR", "price"),
        ("25 kg", "", "price"),
        ("", "31 EUR", "pack"),
        ("25", "31", "pack"),
    ],
)
def test_a_price_that_is_none_or_in_another_currency_is_told(pack, price, where, tmp_path):
    with pytest.raises(FileFaults) as told:
        typed_powder("new_0", "csa_cement", bag(), (pack, price), tmp_path, "EUR")
    assert [fault.where for fault in told.value.faults] == [where]


def test_a_job_with_a_powder_of_ones_own_says_where_its_file_is(tmp_path, monkeypatch, capsys):
    """Beside the job or in the working folder, in whichever folder of spec files; else how to make one."""
    (tmp_path / "jobs").mkdir()
    (tmp_path / "elsewhere").mkdir()
    job = template("demo").replace('"marble_flour",', '"marble_flour", "budget_csa",')
    (tmp_path / "jobs" / "job.toml").write_text(job)
    monkeypatch.chdir(tmp_path / "elsewhere")
    asked = ["design", "../jobs/job.toml"]
    assert run(asked) == 4
    assert "vesselblend materials new budget_csa" in capsys.readouterr().err
    words = ["materials", "new", "budget_csa", "--like", "csa_cement", "--strength", "42.5 MPa"]
    for folder in ("../jobs/own_materials", "mine"):
        assert run([*words, "--specs", folder]) == 0
        capsys.readouterr()
        assert run(asked) == 4
        assert f"add --specs {folder}." in capsys.readouterr().err
        # the folder it names is the right one: what is missing then is the price
        assert run([*asked, "--specs", folder]) == 4
        assert "prices.budget_csa" in capsys.readouterr().err
        shutil.rmtree(folder)


def test_the_listing_answers_as_before(capsys):
    assert run(["materials", "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["materials"]) == len(CATALOGUE)
    assert run(["materials", "csa_cement", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["name"] == "csa_cement"
