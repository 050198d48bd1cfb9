"""The changes that mutation testing makes are changes, parse, and are the same at each run."""

from __future__ import annotations

import ast

import pytest

from tests.trust.mutants import ROOT, Mutant, chosen, mutant_at, outcome, places_of


def test_each_change_is_one_change_that_parses(tmp_path):
    file = tmp_path / "law.py"
    file.write_text('def law(x):\n    """Doc 2."""\n    return min(x, 2.0) + 3 if x < 1 and x > 0 else -x\n')
    found = [mutant_at(file, number) for number in places_of(file)]
    assert len({each.text for each in found}) == len(found) == 8
    plain = ast.unparse(ast.parse(file.read_text()))
    assert all(each.text != plain and ast.parse(each.text) for each in found)


def test_the_same_seed_changes_the_same_places():
    one, again = (chosen(("verdict",), 5, seed=3) for _ in range(2))
    assert [(m.path, m.line, m.words) for _, m in one] == [(m.path, m.line, m.words) for _, m in again]
    assert len(one) == 5


@pytest.mark.parametrize(
    ("text", "seconds", "end"),
    [
        ("def law(): return 1", 120.0, "survived"),
        ("def law(): return 2", 120.0, "killed"),
        ("import time\ndef law(): time.sleep(60)", 3.0, "no end"),
    ],
)
def test_a_change_is_killed_only_where_a_test_falls(tmp_path, text, seconds, end):
    """And the copy is as it was afterwards."""
    folder = tmp_path / "tests" / "money"
    folder.mkdir(parents=True)
    law = tmp_path / "law.py"
    law.write_text("def law(): return 1\n", encoding="utf-8")
    (folder / "test_law.py").write_text(
        "from law import law\ndef test(): assert law() == 1\n", encoding="utf-8"
    )
    mutant = Mutant(ROOT / "law.py", 1, "", text)
    assert outcome(tmp_path, "money", mutant, seconds) == end
    assert law.read_text(encoding="utf-8") == "def law(): return 1\n"
