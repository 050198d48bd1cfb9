"""The frontier from the command line: text, CSV, JSON, and what it refuses."""

from __future__ import annotations

import json

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
    assert head.startswith("cost [currency],demold_time [min],share_")
    assert len(rows) >= 2


@pytest.mark.parametrize("over", ["cost", "cost,cost", "cost,strangeness", "cost,damp_risk", ""])
def test_quantities_that_cannot_be_traded_are_wrong_usage(job, over):
    result = CliRunner().invoke(cli, ["frontier", job, "--over", over])
    assert result.exit_code == 2
    assert "--over" in result.output
