"""The frontier from the command line: text, CSV, JSON, and what it refuses."""

from __future__ import annotations

import csv
import io
import json
import re

import pytest
from click.testing import CliRunner

from ui.cli import cli


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    path = tmp_path_factory.mktemp("jobs") / "job.toml"
    assert CliRunner().invoke(cli, ["init", str(path)]).exit_code == 0
    # a chance that shipped figures can give: where none is that sure, there is next to nothing to trade
    path.write_text(path.read_text().replace("confidence = 0.8", "confidence = 0.5"))
    return str(path)


@pytest.fixture(scope="module")
def answer(job):
    result = CliRunner().invoke(cli, ["frontier", job, "--points", "6", "--json"])
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_no_point_is_beaten_in_both(answer):
    points = [(p["values"]["cost"], p["values"]["demold_time"]) for p in answer["points"]]
    assert len(points) >= 3
    assert not any(a[0] <= b[0] and a[1] <= b[1] and a != b for a in points for b in points)


def test_every_point_says_what_to_weigh(answer):
    for point in answer["points"]:
        assert sum(point["blend"].values()) == pytest.approx(1.0)
        assert point["water_ratio"] > 0.15


def test_csv_names_quantities_with_units(job):
    result = CliRunner().invoke(cli, ["frontier", job, "--points", "3", "--csv"])
    head, *rows = result.stdout.splitlines()
    assert head.startswith("cost [EUR],demold_time [min],joint_probability,share_")
    assert len(rows) >= 2
    # own arithmetic: a number of six digits says the same as itself read and written with six
    assert all(f"{float(cell):.6g}" == cell for row in rows for cell in row.split(","))


def test_csv_in_us_units_says_so_and_keeps_grams_for_the_scale(job):
    words = ("frontier", job, "--points", "3", "--csv", "--over", "cost,dry_strength")
    ours, theirs = (
        list(csv.DictReader(io.StringIO(CliRunner().invoke(cli, [*words, *more]).stdout)))
        for more in ((), ("--units", "us"))
    )
    for metric, us in zip(ours, theirs, strict=True):
        # NIST SP 811 appendix B: 1 psi is 6.894757 kPa
        assert float(us["dry_strength [psi]"]) == pytest.approx(
            float(metric["dry_strength [MPa]"]) / 6.894757e-3, rel=1e-4
        )
        assert us["grams_water"] == metric["grams_water"]


@pytest.fixture(scope="module")
def surer(job):
    result = CliRunner().invoke(cli, ["frontier", job, "--over", "cost,chance", "--points", "6", "--json"])
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)["points"]


def test_the_chance_of_all_limits_is_traded_from_hardly_to_as_sure_as_can_be(surer):
    chances = [point["values"]["chance"] for point in surer]
    costs = [point["values"]["cost"] for point in surer]
    assert chances == sorted(chances)
    assert costs == sorted(costs)
    assert chances[0] < 0.3 < 0.6 < chances[-1]
    assert chances == [point["joint_probability"] for point in surer]


@pytest.mark.parametrize("place", [0, -1])
def test_a_row_says_what_check_and_card_say_of_its_blend(job, surer, place):
    point = surer[place]
    blend = "; ".join(f"{name}={share!r}" for name, share in point["blend"].items())
    asked = [job, "--blend", blend, "--water-ratio", repr(point["water_ratio"]), "--json"]
    told = json.loads(CliRunner().invoke(cli, ["check", *asked]).stdout)
    assert told["joint_probability"] == pytest.approx(point["joint_probability"], abs=2e-3)
    assert told["cost"]["per_good_vessel"] == pytest.approx(point["values"]["cost"], rel=1e-6)
    rows = json.loads(CliRunner().invoke(cli, ["card", *asked]).stdout)["rows"]
    grams = sorted(point["grams_per_mix"].values())
    assert sorted(float(row["mass"].removesuffix(" g")) for row in rows) == pytest.approx(grams)


def test_a_chance_is_not_proved_at_best_values(job):
    result = CliRunner().invoke(cli, ["frontier", job, "--over", "cost,chance", "--prove", "1"])
    assert result.exit_code == 2
    assert "--prove speaks of best values" in result.output


def test_text_tells_chance_water_and_grams_of_one_mix(job):
    words = CliRunner().invoke(cli, ["frontier", job, "--points", "3"]).stdout
    assert re.search(r"cost +demold time +all limits +water ratio +one mix for 6", words)
    assert re.search(r" [0-9.]+ EUR +[0-9]+ min +[0-9]+ % .* 0\.[0-9]{3} +[0-9]+ g ", words)


@pytest.mark.parametrize("over", ["cost", "cost,cost", "cost,strangeness", "cost,damp_risk", ""])
def test_quantities_that_cannot_be_traded_are_wrong_usage(job, over):
    result = CliRunner().invoke(cli, ["frontier", job, "--over", over])
    assert result.exit_code == 2
    assert "--over" in result.output
