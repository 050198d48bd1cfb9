"""What explains an answer: told part by part, dropped when nobody waits, alike from the second process."""

from __future__ import annotations

import threading
from dataclasses import replace

import pytest

from optimizer.job import Job
from optimizer.jobfile import parse_job
from optimizer.solution import Solution
from optimizer.specs import load_catalogue
from optimizer.studies.design import EXPLANATIONS, design
from tests.ui.conftest import SMALL
from ui.explanations import PARTS, Explanations
from ui.question import Question
from ui.second_process import SecondProcess, Worked, explained, worked_out

PATIENCE = 60.0
"""Longest wait for another thread [s]."""


class Edited(BaseException):
    """An edit that ends a wait, as Streamlit ends a run."""


@pytest.fixture(scope="module")
def job() -> Job:
    return parse_job(SMALL, load_catalogue(), "small")


@pytest.fixture
def worked(job) -> Worked:
    return Worked(None, None, Solution("designed", job))


def test_the_parts_together_are_the_explained_design(job, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    asked = Question(SMALL)
    explanations = Explanations(explained)
    with explanations.told(asked, worked_out(asked)) as told:
        found = told(PARTS[-1])
    whole = design(job, load_catalogue())
    untold = {name: getattr(Solution("", job), name) for name in EXPLANATIONS if name not in PARTS}
    assert repr(found) == repr(replace(whole, **untold))  # a figure without an end is no number


def test_a_second_process_answers_alike_and_is_started_anew_when_it_ended(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    asked = Question(SMALL)
    worked, second = worked_out(asked), SecondProcess()
    second.start()
    first = second._process
    try:
        told = second.explained(asked, worked, "alternatives")
        assert told == explained(asked, worked, "alternatives") != ()
        first.kill()
        first.wait()
        assert second.explained(asked, worked, "alternatives") == told
        assert second._process is not first
    finally:
        second.stop()


def test_what_the_second_process_cannot_do_is_said_by_this_one(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    asked, second = Question(SMALL), SecondProcess()
    second.start()
    try:
        with pytest.raises(KeyError):
            second.explained(asked, worked_out(asked), "no such part")
    finally:
        second.stop()


def test_each_part_is_told_as_it_is_ready(worked):
    later = threading.Event()

    def work_out(_asked, _worked, name):
        assert name != "limits" or later.wait(PATIENCE)
        return (name,)

    with Explanations(work_out).told(Question("a"), worked) as told:
        first = told("relaxations")
        assert first.relaxations == ("relaxations",)
        assert first.limits == ()
        later.set()
        assert told("worth_a_trial").limits == ("limits",)


def test_an_edit_ends_the_wait_and_what_nobody_waits_for_is_dropped(worked):
    begun, later, done = threading.Event(), threading.Event(), []

    def work_out(asked, _worked, name):
        begun.set()
        assert later.wait(PATIENCE)
        done.append((asked.text, name))
        return ()

    def edited():
        if begun.is_set():
            raise Edited

    explanations = Explanations(work_out)
    with pytest.raises(Edited), explanations.told(Question("old"), worked, edited) as told:
        told("worth_a_trial")
    later.set()
    with explanations.told(Question("new"), worked) as told:
        told("worth_a_trial")
    assert done == [("old", PARTS[0]), *(("new", name) for name in PARTS)]


def test_parts_once_known_are_not_worked_out_again(worked):
    done = []
    explanations = Explanations(lambda _asked, _worked, name: done.append(name) or ())
    for _ in range(2):
        with explanations.told(Question("a"), worked) as told:
            told("worth_a_trial")
    assert done == list(PARTS)


def test_a_fault_is_told_to_who_waits_and_asked_again_by_the_next(worked):
    faults = [ZeroDivisionError("first")]

    def work_out(_asked, _worked, _name):
        if faults:
            raise faults.pop()
        return ()

    explanations = Explanations(work_out)
    with pytest.raises(ZeroDivisionError), explanations.told(Question("a"), worked) as told:
        told("conflict")
    with explanations.told(Question("a"), worked) as told:
        assert told("conflict").conflict == ()


def test_what_is_kept_is_bounded(worked):
    explanations = Explanations(lambda *_: ())
    for number in range(300):
        with explanations.told(Question(str(number)), worked) as told:
            told("conflict")
    assert len(explanations._known) < 200
