"""The batch card: what it says, that it needs nothing else, and that it prints on one page."""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from optimizer.errors import NoBlend
from optimizer.job import Job, Limit
from optimizer.materials import Catalogue
from optimizer.nomenclature import CAUTIONS, quantity
from optimizer.problem import problem_of
from optimizer.property_model.predict import predict
from optimizer.solution import Solution
from optimizer.studies.check import Batch, batch_of, check, grams_of_blend
from optimizer.units import odds_words
from optimizer.verdict.judge import mix_of_grams
from tests.ui.conftest import SMALL, Command
from ui.card import CARD_CAUTIONS, PAPERS, Sheet, card_html, sheet_of

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
TOOLS = CHROMIUM and shutil.which("pdfinfo") and shutil.which("pdftotext")
PRINT = ("--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync")
POINTS = {"a5": (419.5, 595.3), "half-letter": (396.0, 612.0)}
"""ISO 216 A5 is 148 mm x 210 mm, half of ANSI letter 5.5 in x 8.5 in; in points of 1/72 in."""

MANY = {
    "gypsum_cement": 40.0,
    "white_csa_cement": 20.0,
    "rapid_set_mortar": 10.0,
    "marble_flour": 10.0,
    "silica_sand": 5.0,
    "titanium_white": 1.5,
    "expanded_perlite": 1.0,
    "red_oxide": 0.2,
}
FULL = {
    "gypsum_cement": 40.0,
    "white_csa_cement": 20.0,
    "rapid_set_mortar": 12.0,
    "marble_flour": 10.0,
    "silica_sand": 10.0,
    "molding_plaster": 8.0,
    "citric_acid": 0.05,
    "superplasticizer": 0.1,
}
"""Six powders and two admixtures."""

FEW = {"white_csa_cement": 63.0, "silica_sand": 13.0, "rapid_set_mortar": 13.0, "molding_plaster": 11.0}


@pytest.fixture(scope="module")
def few(demo: Job, catalogue: Catalogue) -> Solution:
    """Check a blend of four powders."""
    return check(demo, FEW, catalogue)


@pytest.fixture(scope="module")
def batch(few: Solution, catalogue: Catalogue) -> Batch:
    """Weigh it for six."""
    return batch_of(few, catalogue, 6)


@pytest.fixture(scope="module")
def sheet(few: Solution, batch: Batch, catalogue: Catalogue) -> Sheet:
    """Write its card."""
    return sheet_of(few, batch, catalogue)


class _Links(HTMLParser):
    """Everything in a page that a browser would fetch or run."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        fetched = {"src", "href", "srcset", "data", "action", "background", "poster"}
        self.found += [f"{tag} {name}" for name, _ in attrs if name in fetched or name.startswith("on")]
        self.found += (
            [tag] if tag in ("script", "link", "iframe", "img", "object", "base", "meta http-equiv") else []
        )


def test_powders_add_up_on_the_scale(batch: Batch) -> None:
    running = 0.0
    for portion in batch.portions[:-1]:
        running += portion.grams
        assert portion.running == pytest.approx(running)
    assert batch.portions[-1].name == "water"
    assert batch.portions[-1].running == batch.portions[-1].grams


def test_a_mix_fills_its_molds_with_the_stated_waste(few: Solution, batch: Batch) -> None:
    # own arithmetic: cavities of one mix and 8 % more, each mass within a gram of the scale
    filled = batch.per_mix * batch.fill
    assert sum(batch.grams.values()) == pytest.approx(
        filled * (1.0 + few.job.shop.waste), abs=1.5 * len(batch.grams)
    )


def test_rounding_keeps_every_verdict(demo: Job, catalogue: Catalogue) -> None:
    """A coarse scale and limits that just hold: the nearest rounding makes some of them uncertain."""
    names, problem = ("dry_strength", "whiteness"), problem_of(demo, catalogue, extra=tuple(FEW))
    grams = grams_of_blend(problem, FEW, None)
    drawn = predict(
        problem.samples.printed.cast(problem.conditions, mix_of_grams(problem, grams)[1][None]), names
    )
    sure = [float(np.quantile(drawn[name], 0.2, method="lower")) for name in names]
    limits = tuple(Limit(name, ">=", bound) for name, bound in zip(names, sure, strict=True))
    job = replace(demo, limits=limits, shop=replace(demo.shop, weigh_step=5.0))
    exact = check(replace(job, shop=demo.shop), FEW, catalogue)
    assert [each.verdict for each in exact.limits] == ["holds", "holds"]
    coarse = check(job, FEW, catalogue)
    for vessels in (1, 2, 3, 5, 6, 40):
        mix = batch_of(coarse, catalogue, vessels)
        dry = {name: grams for name, grams in mix.grams.items() if name != "water"}
        again = check(job, dry, catalogue, mix.grams["water"] / sum(dry.values()))
        for before, after in zip(coarse.limits, again.limits, strict=True):
            assert after.verdict in (before.verdict, "holds")
        assert mix.mixes * mix.per_mix >= vessels


def test_a_short_window_means_more_mixes(few: Solution, catalogue: Catalogue) -> None:
    # own arithmetic: the window left after mixing holds as many pours of a minute as it has whole minutes
    window = few.properties["working_window"].value
    shop = replace(few.job.shop, molds=100, molds_per_mix=100, pour_minutes=1.0)
    mix = batch_of(replace(few, job=replace(few.job, shop=shop)), catalogue, 100)
    assert mix.per_mix <= int(window)
    assert mix.mixes == -(-100 // int(window))


def test_nothing_to_weigh_without_a_blend(few: Solution, catalogue: Catalogue) -> None:
    with pytest.raises(NoBlend):
        batch_of(replace(few, mix=None), catalogue, 6)


def test_the_card_says_what_the_bench_needs(sheet: Sheet, batch: Batch, few: Solution) -> None:
    page = html.unescape(card_html(sheet))
    for portion in batch.portions:
        assert f"{portion.grams:.0f} g" in page
    for words in (
        "Lot",
        "Date",
        "bag lot",
        "powder in",
        "pour by",
        "demold",
        "WATER",
        "mL",
        "day 1",
        "sealer lot",
    ):
        assert words in page
    assert few.fingerprint[:12] in page
    assert "model calibrated on 0 trials" in page
    assert f"{few.properties['dry_mass'].value:.0f} g (about" in page


def test_a_title_cannot_turn_the_card_around(sheet: Sheet) -> None:
    page = card_html(replace(sheet, title="White\u202e tumbler\x07\u2066"))
    assert not re.search("[\x07\u202e\u2066]", page)
    assert "White  tumbler" in page


@pytest.mark.parametrize("blend", [FEW, FULL, MANY], ids=["few", "full", "many"])
def test_no_card_leaves_out_what_lasts(demo: Job, catalogue: Catalogue, blend: dict[str, float]) -> None:
    solution = check(demo, blend, catalogue)
    sheet = sheet_of(solution, batch_of(solution, catalogue, 6), catalogue)
    lasting = {"candle", "certify"} | {"extrapolated", "heat_negative"} & set(solution.cautions)
    assert {CARD_CAUTIONS[key] for key in lasting} <= {*sheet.notes, *sheet.cautions}


def test_the_scale_shows_what_it_can_and_fine_doses_go_elsewhere(demo: Job, catalogue: Catalogue) -> None:
    solution = check(demo, FULL, catalogue)
    mix = batch_of(solution, catalogue, 6)
    sheet = sheet_of(solution, mix, catalogue)
    for row, portion in zip(sheet.rows[:-1], mix.portions[:-1], strict=True):
        fine = catalogue[portion.name].role in ("pigment", "admixture")
        # the scale resolves whole grams, and only powders stand on it
        assert row.shows == ("fine scale" if fine else f"{portion.running:.0f} g")
        assert ("." in row.mass) is fine


def test_shares_are_those_of_the_powder_and_water_is_none_of_them(sheet: Sheet) -> None:
    shares = [re.search(r"(\d+) %", row.note) for row in sheet.rows]
    assert shares[-1] is None
    assert sum(int(share[1]) for share in shares if share) == 100
    assert sheet.rows[-1].note.startswith("ratio 0.")


def test_too_little_water_to_pour_is_on_the_card(demo: Job, catalogue: Catalogue) -> None:
    solution = check(demo, FULL, catalogue, 0.29)
    sheet = sheet_of(solution, batch_of(solution, catalogue, 6), catalogue)
    assert any("it takes to pour" in note for note in sheet.notes)
    assert html.escape(sheet.notes[0]) in card_html(sheet)


def test_design_and_card_say_the_same_of_each_limit(command: Command, small: Path) -> None:
    text = command("design", small, "--proof", "0").out
    for row in json.loads(command("card", small, "--json").out)["limits"]:
        assert re.search(rf"^  {re.escape(row['label'])} .*  {row['word']}$", text, re.MULTILINE), row


@pytest.mark.parametrize("blend", ["gypsum_cement=1", "gypsum_cement=8; marble_flour=2"])
def test_card_and_check_say_the_same_of_all_limits_together(
    command: Command, small: Path, blend: str
) -> None:
    told = json.loads(command("check", small, "--blend", blend, "--json").out)
    ran = command("card", small, "--blend", blend, "--json")
    card = json.loads(ran.out)
    words = f"All limits hold together with {odds_words(told['joint_probability'])}: {told['status']}"
    assert card["sure"].startswith(words)
    assert card["sure"] in html.unescape(command("card", small, "--blend", blend).out)
    assert (card["sure"] in ran.err) is (told["status"] != "holds")


@pytest.mark.parametrize("blend", [FEW, FULL, MANY], ids=["few", "full", "many"])
def test_every_limit_is_on_the_card_with_its_chance(
    demo: Job, catalogue: Catalogue, blend: dict[str, float]
) -> None:
    solution = check(demo, blend, catalogue)
    sheet = sheet_of(solution, batch_of(solution, catalogue, 6), catalogue)
    page = html.unescape(re.sub(r"<[^>]+>", " ", card_html(sheet)))
    assert len(sheet.limits) == len(demo.limits)
    for each in solution.limits:
        label, chance = re.escape(quantity(each.limit.property).label), odds_words(each.probability)
        row, beside = rf"{label} [^;\n]*{chance}\s+{each.verdict}", rf"{chance}:[^;\n]* {label}"
        assert re.search(f"{row}|{beside}", page), label


def test_a_limit_nobody_set_has_no_verdict(demo: Job, catalogue: Catalogue) -> None:
    assert demo.candle
    hot = replace(demo.candle, measured_outer=None, burn_rate=30.0)
    limits = tuple(limit for limit in demo.limits if limit.property != "heat_margin")
    solution = check(replace(demo, candle=hot, limits=limits), FULL, catalogue)
    lines = sheet_of(solution, batch_of(solution, catalogue, 6), catalogue).limits
    assert [each.word for each in lines if each.label == "heat margin"] == ["not a limit"]


def test_pour_by_counts_from_powder_in(sheet: Sheet, few: Solution) -> None:
    # own arithmetic: mixing, then the shortest window that is likely
    minutes = few.job.shop.mixing + few.properties["working_window"].low
    assert float(dict(sheet.clock)["pour by"].split()[0]) == pytest.approx(minutes, abs=0.5)


def test_every_caution_has_a_line_for_the_card() -> None:
    assert list(CARD_CAUTIONS) == list(CAUTIONS)
    # a line of 126 mm holds some 60 letters of 12 pt
    assert max(map(len, CARD_CAUTIONS.values())) <= 60
    assert not any(re.search(r"\bsafe", line, re.I) for line in CARD_CAUTIONS.values())


def test_the_most_pressing_limits_come_first(demo: Job, catalogue: Catalogue) -> None:
    solution = check(demo, {"rapid_set_mortar": 1.0}, catalogue)
    lines = sheet_of(solution, batch_of(solution, catalogue, 6), catalogue).limits
    words = [line.word for line in lines]
    assert "fails" in words
    assert words == sorted(
        words, key=lambda word: ("fails", "burn one first", "uncertain", "holds").index(word)
    )


@pytest.mark.parametrize("bound", [-300.0, None], ids=["a limit it meets", "no limit"])
def test_a_heat_margin_below_nothing_is_among_the_checks(
    demo: Job, catalogue: Catalogue, bound: float | None
) -> None:
    assert demo.candle
    hot = replace(demo.candle, measured_outer=None, burn_rate=30.0)
    others = tuple(limit for limit in demo.limits if limit.property != "heat_margin")
    limits = others if bound is None else (*others, Limit("heat_margin", ">=", bound))
    solution = check(replace(demo, candle=hot, limits=limits), FULL, catalogue)
    assert -300.0 < solution.properties["heat_margin"].value < 0.0
    sheet = sheet_of(solution, batch_of(solution, catalogue, 6), catalogue)
    assert "heat margin" in [line.label for line in sheet.limits]
    assert CARD_CAUTIONS["heat_negative"] in sheet.cautions


def test_the_least_likely_of_the_limits_met_comes_first(demo: Job, catalogue: Catalogue) -> None:
    solution = check(demo, {"csa_cement": 56.0, "marble_flour": 28.0, "gypsum_cement": 16.0}, catalogue)
    chances = {quantity(each.limit.property).label: each.probability for each in solution.limits}
    lines = sheet_of(solution, batch_of(solution, catalogue, 6), catalogue).limits
    plain = [chances[line.label] for line in lines if line.word == "holds"]
    assert len(plain) > 1
    assert plain == sorted(plain)


def test_a_mix_nobody_has_published_is_to_be_cast_once_first(demo: Job, catalogue: Catalogue) -> None:
    solution = check(demo, {"csa_cement": 60.0, "gypsum_cement": 40.0}, catalogue)
    assert any(each.evidence == "extrapolated" for each in solution.properties.values())
    sheet = sheet_of(solution, batch_of(solution, catalogue, 6), catalogue)
    assert sheet.notes[0].startswith("Cast one trial vessel first")


@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_scale_reads_grams_whatever_the_units(
    few: Solution, batch: Batch, catalogue: Catalogue, units: str
) -> None:
    sheet = sheet_of(few, batch, catalogue, units=units)  # type: ignore[arg-type]  # both words are allowed
    assert all(row.mass.endswith(" g") for row in sheet.rows)
    assert ("oz" in sheet.rows[0].note) is (units == "us")


def test_a_mass_to_check_says_whether_the_casting_is_wet_or_dry(
    few: Solution, batch: Batch, catalogue: Catalogue
) -> None:
    page = card_html(sheet_of(few, batch, catalogue, units="us"))
    for words, name in (("One wet, out of the mold", "demolded_mass"), ("The same dry", "dry_mass")):
        grams = few.properties[name].value
        ounces = grams / 28.349523125  # NIST SP 811: one avoirdupois ounce in grams
        told = re.search(rf"{words}, ([0-9]+) g \(([0-9.]+) oz; about", page)
        assert (int(told[1]), float(told[2])) == (round(grams), pytest.approx(ounces, rel=0.005))


def test_grams_are_large_and_words_are_not_small(sheet: Sheet) -> None:
    page = card_html(sheet)
    sizes = {int(size) for size in re.findall(r"(?:font-size: |font: )(\d+)pt", page)}
    assert re.search(r"\.mass \{ font-size: 22pt", page)
    assert min(sizes) >= 12


def test_the_card_asks_nobody_for_anything(sheet: Sheet) -> None:
    page = card_html(sheet)
    links = _Links()
    links.feed(page)
    assert links.found == []
    assert not re.search(r"https?:|url\(|@import", page)


def test_words_of_a_stranger_stay_words(few: Solution, catalogue: Catalogue, batch: Batch) -> None:
    title = '<script>alert(1)</script> & "</title>'
    job = replace(few.job, title=title)
    page = card_html(sheet_of(replace(few, job=job), batch, catalogue))
    assert "<script>" not in page
    assert html.escape(title, quote=False)[:20] in page


def test_card_command(command: Command, tmp_path: Path) -> None:
    path = tmp_path / "small.toml"
    path.write_text(SMALL, encoding="utf-8")
    card = tmp_path / "card.html"
    assert command("card", path, "--vessels", "3", "-o", card).code == 0
    assert card.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    told = json.loads(command("card", path, "--vessels", "3", "--json").out)
    assert [row["label"] for row in told["rows"]] == ["gypsum cement", "WATER"]
    other = command("card", path, "--blend", "gypsum_cement=1; marble_flour=9", "--units", "us")
    assert other.code == 0
    assert "fails" in other.err
    assert PAPERS["half-letter"] in other.out


def test_card_of_no_blend(command: Command, impossible: Path) -> None:
    ran = command("card", impossible)
    assert (ran.code, ran.out) == (3, "")
    assert "No blend" in ran.err


def _printed(page: str, folder: Path) -> Path:
    source, out = folder / "card.html", folder / "card.pdf"
    source.write_text(page, encoding="utf-8")
    words = [
        str(CHROMIUM),
        *PRINT,
        "--no-first-run",
        "--no-pdf-header-footer",
        f"--user-data-dir={folder / 'profile'}",
    ]
    subprocess.run(
        [*words, f"--print-to-pdf={out}", str(source)], check=True, capture_output=True, timeout=120
    )
    return out


def _info(path: Path) -> dict[str, str]:
    done = subprocess.run(["pdfinfo", str(path)], check=True, capture_output=True, text=True)
    return {
        key: value.strip() for key, _, value in (line.partition(":") for line in done.stdout.splitlines())
    }


def _cards(demo: Job, catalogue: Catalogue) -> Iterator[tuple[str, Sheet]]:
    """Give cards of few and many rows, with long titles, and with too little water, which adds lines."""
    strict = {
        "porosity": ("<=", 0.4),
        "absorption": ("<=", 0.3),
        "wet_strength": (">=", 5.0),
        "flexural_strength": (">=", 2.0),
        "crystalline_silica": ("<=", 0.9),
        "drying_time": ("<=", 9.0),
    }
    more = tuple(Limit(name, *each) for name, each in strict.items())
    twelve = replace(demo, limits=(*demo.limits, *more))
    words = "A tumbler for a customer who wants to read every word of this title, and then some more of it"
    long = replace(demo, title=words)
    unbroken = replace(demo, title="W" * 190)
    for job, blend, water in (
        (unbroken, FEW, None),
        (unbroken, MANY, None),
        (demo, FULL, None),
        (twelve, FEW, None),
        (twelve, MANY, None),
        (long, FULL, 0.2),
        (long, FEW, 0.2),
        (long, {"gypsum_cement": 70.0, "silica_sand": 30.0}, 0.2),
    ):
        solution = check(job, blend, catalogue, water)
        mix = batch_of(solution, catalogue, 6)
        yield "a5", sheet_of(solution, mix, catalogue)
        yield "half-letter", sheet_of(solution, mix, catalogue, units="us")


@pytest.mark.browser
@pytest.mark.skipif(not TOOLS, reason="needs chromium and poppler-utils")
def test_cards_print_on_one_page_of_their_paper(demo: Job, catalogue: Catalogue, tmp_path: Path) -> None:
    for paper, sheet in _cards(demo, catalogue):
        pdf = _printed(card_html(sheet, paper), tmp_path)
        info = _info(pdf)
        size = tuple(float(number) for number in re.findall(r"[\d.]+", info["Page size"])[:2])
        assert info["Pages"] == "1", (paper, sheet.title[:4], len(sheet.rows), sheet.notes)
        assert size == pytest.approx(POINTS[paper], abs=1.5)
        text = subprocess.run(["pdftotext", str(pdf), "-"], check=True, capture_output=True, text=True).stdout
        assert all(row.mass in text for row in sheet.rows)
        assert sheet.mark in text
