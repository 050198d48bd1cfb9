"""The pure binder at its reference mix returns its reference value exactly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.errors import FileFaults
from optimizer.materials import Catalogue, ReferencePoint
from optimizer.problem import problem_of
from optimizer.property_model.model import compile_model
from optimizer.property_model.parameters import parameters_of
from optimizer.property_model.strength import dry_gain, wet_strength_at
from optimizer.specs import load_catalogue
from optimizer.specs.catalogue import specs_folder
from optimizer.verdict.evidence import cement_notes
from tests.property_model.helpers import EVERYTHING, all_materials, cast, values

BINDERS = ("gypsum_cement", "molding_plaster", "rapid_set_mortar", "csa_cement", "white_csa_cement")


def points(catalogue, state):
    return [(b, p) for b in BINDERS for p in catalogue[b].reference_points if p.state == state]


def at_point(problem, name: str, point: ReferencePoint):
    """Return the cast of a binder with the standard sand of its test; water is per mass of binder."""
    total = 1.0 + point.added_sand
    blend = {name: 1.0 / total, "silica_sand": point.added_sand / total}
    return cast(problem, blend, point.water_ratio / total)


@pytest.mark.parametrize("name", BINDERS)
def test_wet_reference_points_are_returned_exactly(name, demo, catalogue):
    problem = all_materials(demo, catalogue)
    for binder, point in points(catalogue, "wet"):
        if binder == name:
            there = at_point(problem, name, point)
            strength = float(wet_strength_at(there.clock, point.age)[0])
            assert strength == pytest.approx(point.strength.value, rel=1e-6)


@pytest.mark.parametrize("name", ["gypsum_cement", "molding_plaster"])
def test_dry_reference_points_are_returned_exactly(name, demo, catalogue):
    problem = all_materials(demo, catalogue)
    point = next(p for b, p in points(catalogue, "dry") if b == name)
    there = at_point(problem, name, point)
    dry = np.exp(there.clock.ln_end + dry_gain(there.body))[0]
    assert dry == pytest.approx(point.strength.value, rel=1e-6)


def test_anchors_are_solved_again_in_every_draw(catalogue):
    """A softer pore law must not move the pure binder off its reference point."""
    parameters = parameters_of(catalogue, EVERYTHING)
    fitted = np.tile(parameters.centers, (3, 1))
    fitted[:, parameters.names.index("b_gypsum")] += [-0.2, 0.0, 0.2]
    model = compile_model(catalogue, EVERYTHING, parameters, fitted)
    tops = model.anchors["gypsum_cement"].ln_top
    assert np.ptp(tops) < 1e-9
    assert np.ptp(model.anchors["gypsum_cement"].ln_intrinsic) > 0.05


def scaled(points, factor):
    """Return reference points with their strengths multiplied."""
    return tuple(
        replace(
            p,
            strength=replace(
                p.strength,
                value=factor * p.strength.value,
                low=factor * p.strength.low,
                high=factor * p.strength.high,
            ),
        )
        for p in points
    )


def with_more(catalogue, *others):
    materials = {**catalogue.materials, **{m.name: m for m in others}}
    return Catalogue(materials, catalogue.model, catalogue.sources)


@pytest.mark.parametrize("factor", [0.5, 0.65, 0.9, 1.6])
@pytest.mark.parametrize("own_cement", ["", "csa_cement"])
def test_an_own_cement_moves_no_other_material_by_a_digit(catalogue, demo, factor, own_cement):
    """A copy of a shipped file with its own strength: listed or not, the shipped one stays as it is."""
    base = catalogue["csa_cement"]
    weak = replace(
        base, name="our_cement", cement=own_cement, reference_points=scaled(base.reference_points, factor)
    )
    wider = with_more(catalogue, weak)
    before = all_materials(demo, catalogue)
    after = [
        all_materials(demo, wider),
        problem_of(replace(demo, materials=("our_cement", *EVERYTHING)), wider),
        problem_of(replace(demo, materials=(*EVERYTHING, "our_cement")), wider),
    ]
    for blend in (
        {"csa_cement": 1.0},
        {"rapid_set_mortar": 1.0},
        {"gypsum_cement": 0.5, "csa_cement": 0.5},
        {"white_csa_cement": 0.45, "gypsum_cement": 0.3, "silica_sand": 0.25},
    ):
        want = values(before, blend, 0.42)
        for problem in after:
            assert values(problem, blend, 0.42) == pytest.approx(want, rel=1e-13, nan_ok=True)
    own = values(after[1], {"our_cement": 1.0}, 0.45)["wet_strength"]
    shipped = values(before, {"csa_cement": 1.0}, 0.45)["wet_strength"]
    assert (own > shipped) == (factor > 1.0)


def test_a_folder_of_own_files_moves_no_shipped_material(tmp_path, catalogue, demo):
    """What the README tells a caster to do: copy a file, name it anew, write the own strength, --specs."""
    text = (specs_folder() / "csa_cement.toml").read_text().replace("60 MPa", "30 MPa")
    text = text.replace("48 MPa", "24 MPa").replace("72 MPa", "36 MPa")
    (tmp_path / "our_cement.toml").write_text(text)
    own = load_catalogue(tmp_path)
    listed = replace(demo, materials=(*EVERYTHING, "our_cement"))
    want = values(all_materials(demo, catalogue), {"csa_cement": 1.0})
    assert values(problem_of(listed, own), {"csa_cement": 1.0}) == pytest.approx(want, rel=1e-13, nan_ok=True)
    weak = values(problem_of(listed, own), {"our_cement": 1.0})
    assert weak["dry_strength"] < 0.8 * want["dry_strength"]


def test_the_cement_a_binder_names_lends_only_what_it_lacks(catalogue):
    """One wet point and no dry ratio of its own: pace and dry strength are lent, the strength is its own."""
    mortar = catalogue["rapid_set_mortar"]
    figures = {k: v for k, v in mortar.figures.items() if k != "dry_wet_ratio"}
    bare = replace(mortar, name="bare", figures=figures, reference_points=mortar.reference_points[-1:])
    names = ("bare", "csa_cement", "rapid_set_mortar")
    anchors = compile_model(with_more(catalogue, bare), names).anchors
    assert anchors["bare"].ln_rate == anchors["csa_cement"].ln_rate
    assert anchors["bare"].ln_dry_ratio == anchors["csa_cement"].ln_dry_ratio
    assert anchors["rapid_set_mortar"].ln_rate != anchors["csa_cement"].ln_rate


@pytest.mark.parametrize(("factor", "noted"), [(1.0, 0), (2.0, 1), (0.5, 1)])
def test_points_that_disagree_with_the_named_cement_get_a_note(catalogue, factor, noted):
    mortar = catalogue["rapid_set_mortar"]
    boast = replace(mortar, reference_points=scaled(mortar.reference_points, factor))
    notes = cement_notes(with_more(catalogue, boast), ("csa_cement", "rapid_set_mortar"))
    assert len(notes) == noted


def test_a_cement_that_no_file_holds_is_a_fault(tmp_path):
    text = (specs_folder() / "rapid_set_mortar.toml").read_text()
    (tmp_path / "our_mortar.toml").write_text(text.replace('"csa_cement"', '"csa_cemnt"'))
    with pytest.raises(FileFaults, match="csa_cement"):
        load_catalogue(tmp_path)


def test_the_shipped_cement_and_its_mortar_agree_within_thirty_percent(catalogue):
    model = compile_model(catalogue, EVERYTHING)
    gap = model.anchors["rapid_set_mortar"].ln_intrinsic - model.anchors["csa_cement"].ln_intrinsic
    assert abs(float(gap)) < np.log(1.30)
