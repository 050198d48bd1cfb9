"""US units everywhere: tried as a US caster would, no command prints a metric unit but the scale's grams."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from optimizer.job import Job
from optimizer.jobfile import parse_job, template
from optimizer.materials import Catalogue
from optimizer.trials.measuring import Measured
from optimizer.units import display_value
from tests.ui.conftest import SMALL, Command
from tests.ui.test_page_logic import folder, opened, text_of, turned, weighed
from ui.measuring import Answer, size_words
from ui.unit_text import job_text_in, prose_in, typed_in
from ui.words import ounces_words

__all__ = ["folder"]

METRIC = re.compile(r"[0-9] ?(kg|mm|cm|km|mL|L|MPa|K|C|°C|g/cm3|mm/m)(?![\w/*])")
HOT = SMALL.replace(
    "[limits]", "[candle]\nburn_rate = '30 g/h'\n[limits]\nheat_margin = '>= 0 K'\ndemold_time = '<= 300 min'"
)
"""A candle that runs hotter than the wall stands, so that remedies are told."""

BLEND = ("--blend", "gypsum_cement=9; marble_flour=1")
MEASURED = {
    "volume": ("water=7.5 oz; 7.55 oz; 7.6 oz",),
    "density": ("full=18 oz", "empty=2 oz", "volume=8 fl oz"),
    "bar": ("load=40 lb; 41 lb; 39 lb", "span=4 in", "width=0.8 in", "depth=0.8 in"),
    "burn": ("readings=0 h: 70 F, 1 h: 100 F, 2 h: 108 F, 3 h: 110 F, 4 h: 110 F", "burn_rate=4.5 g/h"),
}


@pytest.fixture
def hot(tmp_path: Path) -> Path:
    """Write the job of a hot candle."""
    path = tmp_path / "hot.toml"
    path.write_text(HOT, encoding="utf-8")
    return path


def _left(text: str) -> list[str]:
    return [line for line in text.splitlines() if METRIC.search(line)]


@pytest.mark.parametrize(
    "words",
    [
        ("design", "JOB", "--proof", "0", "--vessels", "6"),
        ("check", "JOB", *BLEND),
        ("check", "JOB", *BLEND, "--against", "gypsum_cement=1"),
        ("order", "JOB", *BLEND, "--vessels", "40", "--due", "2031-03-01", "--start", "2031-01-06"),
        ("card", "JOB", *BLEND, "--json"),
        ("frontier", "JOB", "--points", "3", "--over", "cost,dry_strength"),
        ("trials", "measure"),
        *(("trials", "measure", what, *readings) for what, readings in MEASURED.items()),
    ],
    ids=lambda words: " ".join(words[:3]),
)
def test_no_command_prints_a_metric_unit(
    command: Command, hot: Path, small: Path, words: tuple[str, ...]
) -> None:
    path = small if words[0] == "frontier" else hot
    asked = [path if word == "JOB" else word for word in words]
    metric, us = command(*asked), command(*asked, "--units", "us")
    assert metric.code == us.code
    assert _left(metric.out), "what this looks for is there in metric units"
    assert _left(us.out) == []


def test_a_difference_of_temperature_has_no_zero_of_its_own() -> None:
    """NIST SP 811, B.9: a difference of 1 kelvin is one of 1.8 degrees Fahrenheit; 5 C on a dial are 41 F."""
    assert display_value(5.0, "heat_margin", "us")[0] == pytest.approx(9.0)
    assert typed_in("5 K", "us") == "9 F"
    assert prose_in("The margin changes by +5.0 K.", "us") == "The margin changes by +9 °F."
    assert typed_in("5 C", "us") == "41 F"
    assert size_words(Answer("wall", Measured(5.0, 5.0, "degC", "read")), "us") == "41.0 ± 9.0 °F"


@pytest.mark.parametrize(
    ("words", "where"),
    [
        (("trials", "measure", "volume", "water=214 g", "temperature=70"), "measure volume: temperature"),
        (("trials", "add", "water=214 g", "room_temperature=70"), "room_temperature"),
    ],
)
def test_a_bare_temperature_is_taken_for_fahrenheit(
    command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], where: str
) -> None:
    monkeypatch.chdir(tmp_path)
    ran = command(*words, "--units", "us")
    assert ran.code == 4
    assert re.search(rf"{where}'?: read '70'; .* Add the unit: 70 F if that is meant", ran.err)
    assert "70 C if that is meant" in command(*words).err


def test_a_bare_temperature_in_a_job_file_is_taken_for_fahrenheit(command: Command, tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(SMALL + "[shop]\ntemperature = 70\n", encoding="utf-8")
    assert '"70 F" if that is meant' in command("design", path, "--units", "us").err
    assert '"70 C" if that is meant' in command("design", path).err


@pytest.mark.parametrize("name", ["job", "demo"])
def test_the_us_template_asks_the_same(catalogue: Catalogue, name: str) -> None:
    """Own arithmetic: three digits, and whole degrees, leave every figure within 2 %."""
    text = job_text_in(template(name), "us")
    stated = [line for line in text.splitlines() if not line.startswith("#")]
    assert _left("\n".join(line.partition("#")[0] for line in stated)) == []
    ours, theirs = (parse_job(each, catalogue, "job") for each in (template(name), text))
    assert theirs.currency == "USD"
    assert theirs.materials == ours.materials
    for mine, other in zip(_figures(ours), _figures(theirs), strict=True):
        assert other == pytest.approx(mine, rel=0.02)


def _figures(job: Job) -> list[float]:
    limits = [limit.bound for limit in job.limits]
    prices = [price.pack for price in job.prices.values()]
    return [job.vessel.cavity_volume, job.vessel.wall, job.shop.temperature, *limits, *prices]


def test_init_writes_it(command: Command, tmp_path: Path) -> None:
    path = tmp_path / "us.toml"
    assert command("init", path, "--units", "us").code == 0
    assert path.read_text(encoding="utf-8") == job_text_in(template("job"), "us")


def test_the_card_counts_whole_pounds_and_ounces(command: Command, hot: Path) -> None:
    """NIST SP 811, B.8: an ounce is 28.349523 g, and 16 of them are a pound."""
    assert ounces_words(453.59237 + 2.0 * 28.349523) == "1 lb 2.0 oz"
    card = json.loads(command("card", hot, *BLEND, "--json", "--units", "us").out)
    grams = float(card["rows"][0]["mass"].removesuffix(" g"))
    told = re.search(r"(\d+) lb ([\d.]+) oz", card["rows"][0]["note"])
    assert told is not None
    assert 453.59237 * int(told[1]) + 28.349523 * float(told[2]) == pytest.approx(grams, abs=1.5)
    assert float(told[2]) < 16.0


def test_a_sweep_names_the_units_its_rows_are_in(command: Command, small: Path, tmp_path: Path) -> None:
    words = ("sweep", small, "--executor", "solo", "--vary", "shop.temperature=60F|80F")
    ours, theirs = tmp_path / "metric.csv", tmp_path / "us.csv"
    assert command(*words, "-o", ours).code == command(*words, "-o", theirs, "--units", "us").code == 0
    metric, us = (list(csv.DictReader(io.StringIO(path.read_text()))) for path in (ours, theirs))
    assert [float(row["shop.temperature [degF]"]) for row in us] == [60.0, 80.0]
    for one, other in zip(metric, us, strict=True):
        # NIST SP 811, B.8: 1 psi is 6.894757 kPa; B.9: 0 C are 32 F, and 1 K is 1.8 degrees Fahrenheit
        strength, peak = float(one["dry_strength [MPa]"]), float(one["casting_peak [degC]"])
        assert float(other["dry_strength [psi]"]) == pytest.approx(strength / 6.894757e-3, rel=1e-4)
        assert float(other["casting_peak [degF]"]) == pytest.approx(32.0 + 1.8 * peak, rel=1e-4)
        assert other["expected_cost [EUR]"] == one["expected_cost [EUR]"]
    again = command(*words, "-o", theirs, "--units", "us")
    assert "2 done before" in again.err
    assert command(*words, "-o", theirs).code == 4  # its columns are others: nothing is mixed


def test_trials_are_shown_in_us_units(
    command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    noted = ("id=a", "date=2026-03-02", "water=300 g", "mass of gypsum_cement=900 g", "room_temperature=70 F")
    assert command("trials", "add", *noted, "strength 1 value=3000 psi", "strength 1 state=dry").code == 0
    shown = command("trials", "show", "a", "--units", "us").out
    assert re.search(r"room_temperature \[degF\] +70\n", shown)
    assert re.search(r"strength 1 value \[psi\] +3000\n", shown)
    assert re.search(r"water \[g\] +300", shown)
    heads = re.findall(r"\[(\S+)\]", command("trials", "columns", "--units", "us").out)
    assert {"degF", "psi", "floz", "delta_degF", "g"} <= set(heads)
    assert not {"degC", "MPa", "mL", "K"} & set(heads)


def test_a_table_with_us_heads_is_read_as_it_is_written(
    command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    heads = "id,date,water [g],mass of gypsum_cement [g],room_temperature [degF],burn 1 outer [degF]"
    row = "b,2026-03-02,300,900,70,113"
    Path("us.csv").write_text(f"{heads},burn 1 error [delta_degF]\n{row},3.6\n", encoding="utf-8")
    assert command("trials", "import", "us.csv", "--yes").code == 0
    told = json.loads(command("trials", "show", "b", "--json").out)
    burn = told["versions"][-1]["trial"]["burns"][0]
    assert (burn["outer"], burn["error"]) == (pytest.approx(45.0), pytest.approx(2.0))


def test_fields_of_the_page_hint_in_us_units() -> None:
    at = opened()
    at.session_state["units"] = "us"
    at = turned(at, "shelf")
    assert not at.exception
    hinted = [text for field in at.text_input for text in (field.help, field.placeholder) if text]
    assert any("lb" in text for text in hinted)
    assert [
        text for text in hinted if METRIC.search(text) and not re.search(r" (F|in|psi|lb|oz|mi)\b", text)
    ] == []
    assert any("per lb at the door" in each.value for each in at.caption)


def test_fields_show_the_jobs_figures_in_the_units_shown_and_change_none(folder: Path) -> None:
    """NIST SP 811, B.8: a US fluid ounce is 29.57353 mL, and 1 psi is 6.894757 kPa."""
    at = opened(template("demo"))
    grams, fields = weighed(at), _fields(at)
    assert (fields["volume"], fields["dry_strength"]) == ("215 mL", "25 MPa")
    at.text_input(key="demold_time").set_value("44 min").run()
    typed, work = weighed(at), sorted((folder / "work").iterdir())
    kept = work[0].read_text()
    at.segmented_control(key="units").set_value("us").run()
    assert not at.exception
    assert [words.partition(" (")[0] for words in weighed(at)] == typed
    shown = _fields(at)
    assert float(shown["volume"].removesuffix(" fl oz")) == pytest.approx(215.0 / 29.57353, rel=2e-3)
    assert float(shown["dry_strength"].removesuffix(" psi")) == pytest.approx(25.0 / 6.894757e-3, rel=2e-3)
    assert (shown["dry_mass"], shown["demold_time"]) == ("13.4 oz", "44 min")
    assert [text for text in shown.values() if METRIC.search(text)] == []
    assert work[0].read_text().partition("\n")[2] == kept  # its first line says that US units are shown
    at = turned(at, "shelf")
    assert [text for text in _fields(at).values() if METRIC.search(text)] == []
    at.text_input(key="volume").set_value("210 mL").run()
    at.segmented_control(key="units").set_value("metric").run()
    at.segmented_control(key="units").set_value("us").run()
    assert _fields(at)["volume"] == "210 mL"  # what was typed keeps its units
    at.segmented_control(key="units").set_value("metric").run()
    at.text_input(key="volume").set_value("215 mL")
    at.text_input(key="demold_time").set_value("45 min").run()
    at = turned(at, "weigh")
    assert _fields(at) == fields
    assert weighed(at) == grams


def _fields(at: AppTest) -> dict[str, str]:
    return {str(field.key): str(field.value or "") for field in at.text_input}


def test_a_bare_temperature_on_the_page_is_taken_for_fahrenheit() -> None:
    at = opened()
    at.session_state["units"] = "us"
    at.run()
    field = next(each for each in at.text_input if each.key == "shop.temperature")
    field.set_value("70").run()
    assert "70 F if that is meant" in text_of(at)
