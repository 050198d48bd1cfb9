"""Job files: what ships, what reads, and how it is understood."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from datetime import date
from pathlib import Path

import pytest

from optimizer.errors import FileFaults
from optimizer.job import Bounds, Candle, Limit, Price, Shop, Vessel
from optimizer.jobfile import TEMPLATES, parse_job, read_job, template, write_job
from optimizer.jobfile.keys import BOUNDS, CANDLE, PRICE, SHOP, VESSEL, meanings
from tests.jobfile_samples import CATALOGUE, job_with, text_with


@pytest.mark.parametrize("name", TEMPLATES)
def test_shipped_job_reads_and_its_prices_are_marked_as_examples(name):
    job = parse_job(template(name), CATALOGUE, name)
    assert job.example_prices
    assert set(job.prices) == set(job.materials)
    assert "nvented" in template(name)


def test_demo_job_asks_for_the_white_tumbler():
    job = parse_job(template("demo"), CATALOGUE, "demo")
    assert len(job.materials) == 7
    assert job.at_most_materials == 4
    assert job.vessel.cavity_volume == 215.0
    assert {limit.property for limit in job.limits} >= {
        "demold_time",
        "dry_strength",
        "whiteness",
        "heat_margin",
    }
    assert job.candle is not None
    assert job.candle.measured_outer == 42.0


def test_unknown_template_is_named():
    with pytest.raises(KeyError, match="'nothing' is none of job, demo"):
        template("nothing")


def test_switched_off_lines_of_the_starting_job_show_the_defaults():
    on = re.sub(r"^# (\w+ = )", r"\1", template("job"), flags=re.MULTILINE)
    all_on, as_shipped = (parse_job(text, CATALOGUE, "job") for text in (on, template("job")))
    assert replace(all_on.shop, water_temperature=None) == as_shipped.shop == Shop()
    assert all_on.vessel == as_shipped.vessel
    assert replace(all_on.candle, measured_outer=None) == as_shipped.candle == Candle()


@pytest.mark.parametrize(
    ("table", "keys"), [("vessel", VESSEL), ("candle", CANDLE), ("shop", SHOP), ("prices", PRICE)]
)
def test_starting_job_names_every_key(table, keys):
    section = re.split(r"^\[", template("job"), flags=re.MULTILINE)
    text = "".join(part for part in section if part.startswith(table))
    assert {key.name for key in keys} <= set(re.findall(r"^(?:# )?(\w+) = ", text, re.MULTILINE))


@pytest.mark.parametrize(
    ("record", "keys"), [(Vessel, VESSEL), (Candle, CANDLE), (Shop, SHOP), (Price, PRICE), (Bounds, BOUNDS)]
)
def test_every_field_of_a_record_has_its_key_and_meaning(record, keys):
    names = [each.name for each in fields(record)]
    assert [key.field or key.name for key in keys] == names
    if record is not Bounds:
        assert set(meanings(record)) == set(names)


@pytest.mark.parametrize(("record", "keys"), [(Candle, CANDLE), (Shop, SHOP)])
def test_defaults_lie_within_the_ranges(record, keys):
    for key in keys:
        value = getattr(record(), key.name)
        assert value is None or key.read(key.write(value)) == value


def test_values_nobody_stated_are_the_defaults():
    job = job_with()
    assert job.shop == Shop()
    assert job.stated == {
        "title",
        "currency",
        "materials",
        "vessel.cavity_volume",
        "candle.burn_rate",
        "shop.wage",
        "limits.dry_strength",
        "prices.gypsum_cement.pack",
        "prices.gypsum_cement.price",
    }


# exact by definition: 1 in = 25.4 mm and 1 lb = 0.45359237 kg (international yard and pound, 1959, from
# memory); degrees Fahrenheit by 5/9 (F - 32); the pound-force per square inch follows with g = 9.80665 m/s2
@pytest.mark.parametrize(
    ("us", "metric", "comma"),
    [
        pytest.param(
            {"vessel": {"height": "4 in"}},
            {"vessel": {"height": "101.6 mm"}},
            {"vessel": {"height": "10,16 cm"}},
            id="inch",
        ),
        pytest.param(
            {"shop": {"mold_mass": "1 lb"}},
            {"shop": {"mold_mass": "453.59237 g"}},
            {"shop": {"mold_mass": "0,45359237 kg"}},
            id="pound",
        ),
        pytest.param(
            {"shop": {"temperature": "80.6 F"}},
            {"shop": {"temperature": "27 C"}},
            {"shop": {"temperature": "27,0 °C"}},
            id="fahrenheit",
        ),
        pytest.param(
            {"limits": {"dry_strength": ">= 3625 psi"}},
            {"limits": {"dry_strength": ">= 24.9934951877 MPa"}},
            {"limits": {"dry_strength": "≥ 24,9934951877 MPa"}},
            id="psi",
        ),
        pytest.param(
            {"limits": {"heat_margin": ">= 9 F"}},
            {"limits": {"heat_margin": ">= 5 K"}},
            {"limits": {"heat_margin": ">= 5,0 C"}},
            id="difference",
        ),
        pytest.param(
            {"limits": {"demold_time": "<= 1h15"}},
            {"limits": {"demold_time": "<= 75 min"}},
            {"limits": {"demold_time": "<= 1,25 h"}},
            id="time",
        ),
        pytest.param(
            {"shop": {"humidity": "62,5 %"}},
            {"shop": {"humidity": 0.625}},
            {"shop": {"humidity": "0,625"}},
            id="share",
        ),
    ],
)
def test_us_and_metric_and_decimal_comma_are_one_job(us, metric, comma):
    assert job_with(**us) == job_with(**metric) == job_with(**comma)


def test_a_straight_vessel_needs_no_water_fill():
    # own arithmetic: pi/4 (85^2 x 95 - 69^2 x 87) mm3 = pi/4 (686375 - 414207) mm3
    measures = '\n[vessel]\nouter_diameter = "85 mm"\nheight = "95 mm"\nwall = "8 mm"\n'
    by_ring = parse_job(text_with({}, drop="vessel") + measures, CATALOGUE, "job.toml")
    assert by_ring.vessel.cavity_volume == pytest.approx(0.785398163 * 272.168, rel=1e-8)
    assert parse_job(write_job(by_ring), CATALOGUE, "again").stated == by_ring.stated


@pytest.mark.parametrize(
    ("raw", "expected"),
    [
        ("cost", ("cost", False)),
        ("max whiteness", ("whiteness", True)),
        ("whiteness", ("whiteness", True)),
        ("min dry_mass", ("dry_mass", False)),
        ("max fresh_density", ("fresh_density", True)),
    ],
)
def test_objective(raw, expected):
    job = job_with(objective=raw)
    assert (job.objective, job.maximize) == expected


def test_bounds_that_just_leave_a_blend_are_fine():
    shares = {"gypsum_cement": {"min": 0.7, "max": 0.7}, "marble_flour": {"max": 0.3}}
    job = job_with(at_most_materials=2, bounds=shares)
    assert job.bounds == {"gypsum_cement": Bounds(0.7, 0.7), "marble_flour": Bounds(0.0, 0.3)}


def test_two_bounds_make_a_range():
    job = job_with(limits={"whiteness": [">= 85", "<= 92"]})
    assert job.limits[1:] == (Limit("whiteness", ">=", 85.0), Limit("whiteness", "<=", 92.0))


def test_week_and_holidays():
    shop = job_with(
        shop={"working_days": ["Sat", "Tue"], "holidays": [date(2026, 12, 25), "2026-12-24"]}
    ).shop
    assert shop.working_days == (1, 5)
    assert shop.holidays == (date(2026, 12, 24), date(2026, 12, 25))


def test_damp_class_becomes_its_index():
    assert Limit("damp_risk", "<=", 1.0) in job_with(limits={"damp_risk": "<= medium"}).limits


@pytest.mark.parametrize(
    "rows",
    [[["500 g", 4.2], ["1 kg", 6.5]], [{"up_to": "500 g", "cost": 4.2}, {"up_to": "1000 g", "cost": 6.5}]],
)
def test_rows_may_be_pairs_or_small_tables(rows):
    assert job_with(shop={"shipping_bands": rows}).shop.shipping_bands == ((500.0, 4.2), (1000.0, 6.5))


def test_a_file_reads_and_names_itself_in_faults(tmp_path):
    path = tmp_path / "cup.toml"
    path.write_text(text_with({}), encoding="utf-8-sig")
    assert read_job(path, CATALOGUE) == read_job(str(path), CATALOGUE) == job_with()
    path.write_text(text_with({"confidence": 2}))
    with pytest.raises(FileFaults, match=re.escape(f"{path}:confidence")):
        read_job(path, CATALOGUE)
    with pytest.raises(FileFaults, match=r"^upload:confidence"):
        read_job(path, CATALOGUE, name="upload")


def test_a_text_is_taken_for_a_text():
    assert read_job(text_with({}), CATALOGUE) == job_with()
    with pytest.raises(FileFaults, match=r"^stdin: read an empty file"):
        read_job("", CATALOGUE, name="stdin")


@pytest.mark.parametrize(
    ("content", "value"),
    [
        (None, "no such file"),
        ("directory", "a folder"),
        (b"", "an empty file"),
        (b"\x89PNG\r\n\x1a\n\0\0", "a binary file"),
        (b"title = '\xff\xfe'", "not UTF-8 in line 1"),
        (b"#" * 10_000_000, "a very large file"),
    ],
    ids=["missing", "directory", "empty", "binary", "latin-1", "10-MB"],
)
def test_a_file_that_cannot_be_read_is_refused(tmp_path, content, value):
    path: Path = tmp_path / "job.toml"
    if content == "directory":
        path.mkdir()
    elif content is not None:
        path.write_bytes(content)
    with pytest.raises(FileFaults, match=value):
        read_job(path, CATALOGUE)
