"""What a newcomer does first and gets wrong: the repair names every place, and no command crashes."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.ui.conftest import SMALL, Command

MEETS = "gypsum_cement=95, marble_flour=5"


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    """Write a job with two materials that have no price."""
    path = tmp_path / "bare.toml"
    added = '"csa_cement", "silica_sand", "marble_flour"'
    path.write_text(SMALL.replace('"marble_flour"', added), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "words",
    [
        ("design",),
        ("card",),
        ("frontier",),
        ("order", "--vessels", "30", "--due", "2030-12-30"),
        ("sweep", "--vary", "limits.whiteness=86|88"),
    ],
    ids=lambda words: words[0],
)
def test_every_material_without_a_price_is_named_where_money_counts(
    command: Command, bare: Path, words: tuple[str, ...]
) -> None:
    ran = command(words[0], bare, *words[1:])
    assert (ran.code, ran.out) == (4, "")
    lines = ran.err.splitlines()
    assert len(lines) == 2
    for name, line in zip(("csa_cement", "silica_sand"), lines, strict=True):
        assert f"prices.{name}: read nothing" in line
        assert "[prices." in line
        assert "out of materials" in line
    if words[0] != "sweep":  # a scenario is no file
        assert all(line.startswith(f"{bare}:prices.") for line in lines)


@pytest.mark.parametrize(
    ("price", "words"),
    [("1e308", "at most 1e+09"), ("1e-320", "0, or 1e-06 or more")],
)
def test_a_price_beyond_measure_is_refused_with_what_is_allowed(
    command: Command, tmp_path: Path, price: str, words: str
) -> None:
    path = tmp_path / "job.toml"
    path.write_text(SMALL.replace("41.50", price), encoding="utf-8")
    ran = command("design", path)
    assert (ran.code, ran.out) == (4, "")
    assert f"allowed: {words}" in ran.err


@pytest.mark.parametrize("words", [("design", "--proof", "nan"), ("frontier", "job.toml", "--prove", "nan")])
def test_no_number_of_seconds_is_no_time(command: Command, words: tuple[str, ...]) -> None:
    ran = command(*words)
    assert (ran.code, ran.out) == (2, "")
    assert "not a number of seconds" in ran.err


def test_no_price_is_needed_where_money_does_not_count(command: Command, bare: Path) -> None:
    bare.write_text(f'objective = "dry_strength"\n{bare.read_text(encoding="utf-8")}', encoding="utf-8")
    assert command("design", bare, "--proof", "0").code == 0
    assert command("order", bare, "--vessels", "30", "--due", "2030-12-30").code == 4


def test_check_names_the_material_without_a_price(command: Command, bare: Path) -> None:
    out = command("check", bare, "--blend", "gypsum_cement=90, silica_sand=10").out
    assert "Not counted: silica_sand has no price in the job." in out
    both = command("check", bare, "--blend", MEETS, "--against", "gypsum_cement=90, silica_sand=10").out
    assert "No saving can be named: silica_sand has no price" in both


def test_check_says_when_no_coat_seals(command: Command, small: Path) -> None:
    small.write_text(f"{SMALL}[shop]\ntarget_absorption = 0.0001\n", encoding="utf-8")
    out = command("check", small, "--blend", MEETS).out
    words = "no number of coats brings the absorption down to the 0.01 % of target_absorption"
    assert f"Not counted: {words}." in " ".join(out.split())


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("card", "JOB", "--water-ratio", "0.3"), "--blend"),
        (("check", "JOB", "--blend", MEETS, "--against-water-ratio", "0.3"), "--against"),
        (("frontier", "JOB", "--csv", "--json"), "choose one"),
    ],
    ids=lambda part: part[0] if isinstance(part, tuple) else "",
)
def test_options_that_would_do_nothing_are_wrong_usage(
    command: Command, small: Path, words: tuple[str, ...], named: str
) -> None:
    ran = command(*(small if word == "JOB" else word for word in words))
    assert (ran.code, ran.out) == (2, "")
    assert named in ran.err


HOT = """
[candle]
wicks = 1
"""


def _unmet(folder: Path, limits: str, rest: str) -> Path:
    path = folder / "unmet.toml"
    path.write_text(SMALL.replace('dry_strength = ">= 25 MPa"', limits) + rest, encoding="utf-8")
    return path


def test_heat_out_of_reach_names_burn_test_wick_and_wall(command: Command, tmp_path: Path) -> None:
    ran = command("design", _unmet(tmp_path, 'heat_margin = ">= 30 K"', HOT))
    out = " ".join(ran.out.split())
    assert ran.code == 3
    for words in ("estimate without a burn test", "measured_outer", "smaller wick", "thicker"):
        assert words in out
    # The estimate of this candle is above what gypsum stands: no change below a margin of 0 is offered.
    assert "heat margin >=" not in out.partition("Mind")[0].partition("Any one of these changes")[2]
    assert "heat margin >= -" not in out


def test_a_measured_wall_is_no_estimate(command: Command, tmp_path: Path) -> None:
    ran = command("design", _unmet(tmp_path, 'heat_margin = ">= 30 K"', HOT + 'measured_outer = "40 C"\n'))
    assert ran.code == 3
    assert "estimate without" not in ran.out


def test_bounds_of_materials_are_named_beside_the_limits(command: Command, tmp_path: Path) -> None:
    bounds = "[bounds.gypsum_cement]\nmax = 0.7\n"
    out = command("design", _unmet(tmp_path, 'dry_strength = ">= 48 MPa"', bounds)).out
    assert "[bounds.gypsum_cement]" in out
    assert "[bounds." not in command("design", _unmet(tmp_path, 'dry_strength = ">= 240 MPa"', "")).out


@pytest.mark.parametrize(
    "words", [("init",), ("design",), ("trials", "list", "--book")], ids=lambda words: words[0]
)
def test_a_name_too_long_for_a_file_is_told(command: Command, words: tuple[str, ...]) -> None:
    ran = command(*words, "9" * 400)
    assert ran.code == 4
    assert "too long" in ran.err
    assert "fault of vesselblend" not in ran.err
