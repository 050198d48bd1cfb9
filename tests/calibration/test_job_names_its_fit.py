"""Which fit a question is asked with: the job names it, the command line overrides, copies are none."""

from __future__ import annotations

import pytest

from optimizer import fitted_parameters
from optimizer.calibration.files import calibration_file, keep_calibration, newest_calibration
from optimizer.calibration.fit import calibrate
from optimizer.errors import FileFaults
from optimizer.jobfile import read_job, template
from tests.calibration.studios import World
from ui.jobs import ask

JOB = """
currency = "EUR"
materials = ["gypsum_cement", "rapid_set_mortar", "marble_flour"]
{key}
[vessel]
cavity_volume = "215 mL"
"""


@pytest.fixture(scope="module")
def calibration(catalogue):
    return calibrate([World(catalogue, 9).trial(k) for k in range(2)], catalogue).calibration


@pytest.fixture
def studio(tmp_path, monkeypatch, calibration):
    """Make a folder with a job and one with a fit, and stand somewhere else."""
    (tmp_path / "fits").mkdir()
    (tmp_path / "elsewhere").mkdir()
    kept = keep_calibration(calibration, tmp_path / "fits")
    monkeypatch.chdir(tmp_path / "elsewhere")
    return tmp_path, kept


@pytest.mark.parametrize("named", ["file", "folder"])
def test_the_job_names_its_fit_beside_itself(studio, named):
    folder, kept = studio
    key = f"fits/{kept.name}" if named == "file" else "fits"
    (folder / "job.toml").write_text(JOB.format(key=f'calibration = "{key}"'))
    asked = ask(str(folder / "job.toml"), None)
    assert asked.trials == 2
    assert ask(str(folder / "job.toml"), None, "none").trials == 0
    (folder / "bare.toml").write_text(JOB.format(key='calibration = "none"'))
    assert ask(str(folder / "bare.toml"), None).trials == 0
    assert ask(str(folder / "bare.toml"), None, str(kept)).trials == 2


def test_the_fit_is_no_part_of_what_is_asked(studio):
    folder, _ = studio
    for name, key in (("one", 'calibration = "fits"'), ("two", "")):
        (folder / f"{name}.toml").write_text(JOB.format(key=key))
    one, two = (ask(str(folder / f"{name}.toml"), None).job for name in ("one", "two"))
    assert one == two


def test_a_folder_without_a_fit_says_so(studio):
    folder, _ = studio
    with pytest.raises(FileFaults, match="trials fit"):
        calibration_file("elsewhere", folder)
    assert calibration_file("none", folder) is None


def test_copies_and_drafts_are_no_fits(studio, calibration):
    folder, kept = studio
    text = kept.read_text()
    for name in ("copy of the best", "calibration-2099-01-01-a-draft-of-mine", f"{kept.stem}.toml1x2y"):
        (folder / "fits" / f"{name}.toml").write_text(text)
    assert newest_calibration(folder / "fits") == kept


def test_the_demo_names_its_casts_from_any_folder(studio, capsys):
    folder, _ = studio
    (folder / "tumbler.toml").write_text(template("demo"))
    for named in (None, str(folder / "tumbler.toml")):
        assert ask(named, None).trials == 6
        assert "fitted to the 6 invented casts of the demo; --calibration none" in capsys.readouterr().err
        assert ask(named, None, "none").trials == 0
        assert "invented casts" not in capsys.readouterr().err


def test_from_python_the_named_fit_is_one_call(studio, catalogue):
    folder, kept = studio
    for key, trials in ((f'calibration = "fits/{kept.name}"', 2), ('calibration = "demo"', 6)):
        (folder / "job.toml").write_text(JOB.format(key=key))
        job = read_job(folder / "job.toml", catalogue)
        known = fitted_parameters(job, catalogue, folder, ["silica_sand"])
        assert max(known.origin.values()) == trials
        assert "silica_sand.density" in known.names
    for key in ("", 'calibration = "none"'):
        (folder / "job.toml").write_text(JOB.format(key=key))
        assert fitted_parameters(read_job(folder / "job.toml", catalogue), catalogue, folder) is None
