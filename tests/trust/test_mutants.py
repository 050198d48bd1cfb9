"""Changes of the code parse, are the same at each run, and are tried by the tests that reach them."""

from __future__ import annotations

import ast
from functools import partial

import pytest

from tests.trust.changes import mutant_at, places_of
from tests.trust.mutants import ROOT, Mutant, chosen, outcome, survivors, trying
from tests.trust.reached import Reached, in_fork, measure, read

LAW = '''import functools
LIMIT: "3" = 2.0
def law(x: "4" = 5):
    """Doc 2."""
    return min(x, LIMIT) + 3 if x < 1 and x > 0 else -x
@functools.lru_cache(maxsize=64)
def guard(x):
    return 1.0 if x < 1e-9 else x / max(x, 1e-9)
'''


@pytest.fixture
def project(tmp_path):
    """Return a small project: three tests reach a law, one of them by a shared fixture, and one does not."""
    tests, code = tmp_path / "tests" / "money", tmp_path / "optimizer" / "money"
    tests.mkdir(parents=True)
    code.mkdir(parents=True)
    for package in (code, code.parent):
        (package / "__init__.py").touch()
    (code / "law.py").write_text("LIMIT = 1\ndef law():\n    return LIMIT\ndef other():\n    return 2\n")
    (tests / "test_law.py").write_text(
        "import pytest\nfrom optimizer.money.law import law, other\n"
        "@pytest.fixture(scope='module')\ndef shared(): return law()\n"
        "def test_law(): assert law() == 1\n"
        "@pytest.mark.parametrize('k', [1, 2])\ndef test_shared(shared, k): assert shared == 1\n"
        "def test_other(): assert other() == 2\n"
        "def test_that_falls(): assert law() == 2\n"
    )
    return tmp_path


def test_each_change_is_one_change_that_parses(tmp_path):
    """Docstrings, types, sizes of caches and guards of a division stay."""
    file = tmp_path / "law.py"
    file.write_text(LAW)
    found = [mutant_at(file, number) for number in places_of(file)]
    assert len({each.text for each in found}) == len(found) == 12
    plain = ast.unparse(ast.parse(file.read_text()))
    assert all(each.text != plain and ast.parse(each.text) for each in found)
    assert not any(word in each.words for each in found for word in ("64", "128", "'", "Doc"))
    assert not any(each.words.startswith(("1e-09", "x < 1e-09")) for each in found)


def test_a_change_shows_where_its_statement_runs_or_its_name_is_read(tmp_path):
    file = tmp_path / "law.py"
    file.write_text(LAW)
    found = {each.words: each for each in (mutant_at(file, number) for number in places_of(file))}
    assert found["2.0  ->  4.0"].names == ("LIMIT",)
    assert set(found["5  ->  10"].lines) == {3, 4, 5}
    assert found["3  ->  6"].lines == (5,)
    assert found["3  ->  6"].names == ()


def test_the_same_seed_changes_the_same_places():
    one, again = (chosen(("verdict",), 5, seed=3) for _ in range(2))
    assert [(m.path, m.lines, m.words) for _, m in one] == [(m.path, m.lines, m.words) for _, m in again]
    assert len(one) == 5


def test_a_change_is_tried_by_the_tests_that_reach_it(project):
    found = project / "found.json"
    in_fork(project, partial(measure, project, ("money",), ("tests",), found), 120.0, project / "log")
    reached = read(found)
    test = "tests/money/test_law.py::"
    assert reached.failed == [f"{test}test_that_falls"]
    law = ROOT / "optimizer" / "money" / "law.py"
    used = {"LIMIT": {("optimizer/money/law.py", 3)}}

    def tried(lines, names=()):
        tests = trying("money", Mutant(law, lines, "", "", names), reached, used, 60.0)
        return {each.removeprefix(test) for each in tests}

    assert tried((3,)) == {"test_law", "test_shared"}, "also what a shared fixture executed"
    assert tried((5,)) == {"test_other"}
    assert tried((1,), ("LIMIT",)) == {"test_law", "test_shared"}, "where the name is read"
    assert tried((99,)) == {"test_law", "test_shared", "test_other"}, "else all of the package"


def test_fast_tests_of_the_package_come_first_until_the_time_is_used():
    seconds = {"tests/money/a.py::slow": 5.0, "tests/ui/b.py::fast": 0.1, "tests/money/a.py::fast": 0.1}
    reached = Reached(seconds, {}, [], [])
    assert reached.order(set(seconds), "money", 60.0) == [
        "tests/money/a.py::fast",
        "tests/ui/b.py::fast",
        "tests/money/a.py::slow",
    ]
    assert reached.order(set(seconds), "money", 0.15) == ["tests/money/a.py::fast", "tests/ui/b.py::fast"]


@pytest.mark.parametrize(
    ("text", "seconds", "end", "by"),
    [
        ("def law(): return 1", 120.0, "survived", ""),
        ("def law(): return 2", 120.0, "killed", "tests/money/test_law.py::test_law"),
        ("raise ValueError", 120.0, "killed", "import:ValueError"),
        ("import time\ndef law(): time.sleep(60)", 5.0, "no end", ""),
    ],
)
def test_a_change_is_killed_only_where_a_test_falls(project, text, seconds, end, by):
    """And the copy is as it was afterwards."""
    law = project / "optimizer" / "money" / "law.py"
    before = law.read_text(encoding="utf-8")
    mutant = Mutant(ROOT / "optimizer" / "money" / "law.py", (1,), "", text + "\ndef other(): return 2\n")
    assert outcome(project, ["tests/money/test_law.py::test_law"], mutant, seconds) == (end, by)
    assert law.read_text(encoding="utf-8") == before


def test_a_test_that_is_not_there_says_nothing(project):
    assert outcome(project, ["tests/money/test_law.py::test_gone"], None, 120.0) == ("broken", "")


def test_survivors_of_an_earlier_run_are_found_again():
    (one, _), (other, _) = ((mutant, package) for package, mutant in chosen(("verdict",), 2, seed=3))
    printed = "".join(
        f"{end} {mutant.path.relative_to(ROOT)}:{mutant.lines[0]} {mutant.words}\n"
        for end, mutant in (("survived", one), ("killed", other))
    )
    again = {(mutant.path, mutant.lines, mutant.words) for _, mutant in survivors(printed, ("verdict",))}
    assert again == {(one.path, one.lines, one.words)}
