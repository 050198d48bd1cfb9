"""The calibration file: same in, same out; undo by removing it; every fault with its repair."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from optimizer.calibration.files import (
    calibration_text,
    keep_calibration,
    newest_calibration,
    parse_calibration,
    read_calibration,
)
from optimizer.calibration.fit import calibrate
from optimizer.calibration.record import Calibration, parameter_set
from optimizer.errors import FileFaults
from optimizer.property_model.parameters import Parameter, ParameterSet
from tests.calibration.studios import NAMES, World


@pytest.fixture(scope="module")
def kept(catalogue) -> Calibration:
    world = World(catalogue, 21)
    return calibrate([world.trial(number) for number in range(4)], catalogue).calibration


@pytest.fixture(scope="module")
def text(kept) -> str:
    return calibration_text(kept)


def test_what_is_read_back_is_the_same(kept, text, catalogue):
    again = parse_calibration(text, "file")
    assert calibration_text(again) == text
    assert again.learned == kept.learned
    assert np.array_equal(again.correlation, kept.correlation)
    one, other = (parameter_set(each, catalogue, NAMES) for each in (kept, again))
    assert one.items == other.items
    assert np.array_equal(one.covariance(), other.covariance())


def test_it_names_trials_version_date_and_priors(kept, text):
    for part in (*kept.trials, kept.priors, kept.date.isoformat(), kept.version):
        assert part in text


def test_to_undo_is_to_remove_the_file(kept, tmp_path):
    assert newest_calibration(tmp_path) is None
    first = keep_calibration(kept, tmp_path)
    assert first.name == f"calibration-{kept.date.isoformat()}-a.toml"
    assert keep_calibration(kept, tmp_path) == first, "the same calibration is kept once"
    second = keep_calibration(replace(kept, trials=kept.trials[:3]), tmp_path)
    later = keep_calibration(replace(kept, date=kept.date + dt.timedelta(days=1)), tmp_path)
    assert newest_calibration(tmp_path) == later
    later.unlink()
    assert newest_calibration(tmp_path) == second
    second.unlink()
    assert newest_calibration(tmp_path) == first
    assert calibration_text(read_calibration(first)) == calibration_text(kept)


def test_drafts_copies_and_folders_are_no_calibrations(kept, tmp_path):
    first = keep_calibration(kept, tmp_path)
    for name in (
        f"{first.name}x9kq.toml",
        "calibration-9999-12-31-a (copy).toml",
        "calibration-9999-12-31-A.toml",
        "calibration-9999-12-31.toml",
        ".calibration-9999-12-31-a.toml",
    ):
        (tmp_path / name).write_text("half a")
    (tmp_path / "calibration-9999-12-31-z.toml").mkdir()
    assert newest_calibration(tmp_path) == first


def test_more_than_twenty_six_a_day_stay_in_order(kept, tmp_path):
    paths = [
        keep_calibration(replace(kept, trials=(*kept.trials, str(number))), tmp_path) for number in range(28)
    ]
    assert len(set(paths)) == 28
    assert newest_calibration(tmp_path) == paths[-1]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("date = ", "# date = ", "date"),
        ("log = true", 'log = "yes"', "log"),
        ("spread = ", "spread = -", "greater than or equal to 0"),
        ("[1.0],", "[0.5],", "cannot be correlations"),
        ("[1.0],", "", "rows of"),
        ("[1.0],", "[nan],", "correlation"),
        ("trials = [", "trails = [", "trials"),
    ],
    ids=["no date", "not a truth", "negative", "no correlation", "row lost", "nan", "misspelled"],
)
def test_faults_say_where_and_what_to_do(text, old, new, said):
    with pytest.raises(FileFaults) as caught:
        parse_calibration(text.replace(old, new, 1), "calibration.toml")
    assert "calibration.toml" in str(caught.value)
    assert said in str(caught.value)


def test_correlations_no_scatter_could_have_are_refused(kept, text):
    """Three figures cannot each run against both others."""
    size = len(kept.learned)
    wrong = np.eye(size)
    for i, j in ((0, 1), (0, 2), (1, 2)):
        wrong[i, j] = wrong[j, i] = -0.9
    with pytest.raises(FileFaults, match="cannot be correlations"):
        parse_calibration(calibration_text(replace(kept, correlation=wrong)), "file")


def test_draws_do_not_hang_on_the_eigenvectors_a_machine_picks(monkeypatch):
    """Any turn within equal eigenvalues is as good a choice (linear algebra); the draws stay the same."""
    names = ("a", "b", "c", "d")
    correlation = np.eye(4)
    correlation[0, 1] = correlation[1, 0] = 0.6
    parameters = ParameterSet(tuple(Parameter(name, 0.0, 1.0) for name in names), correlation=correlation)
    plain = parameters.draws(50, 7)
    picked = np.linalg.eigh

    def turned(matrix):
        values, vectors = picked(matrix)
        equal = np.flatnonzero(np.isclose(values, 1.0))
        turn = np.array([[0.8, -0.6], [0.6, 0.8]])
        vectors[:, equal] = -vectors[:, equal] @ turn
        return values, vectors

    monkeypatch.setattr(np.linalg, "eigh", turned)
    np.testing.assert_allclose(parameters.draws(50, 7), plain, atol=1e-12)
