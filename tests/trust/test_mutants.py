"""The changes that mutation testing makes are changes, parse, and are the same at each run."""

from __future__ import annotations

import ast

from tests.trust.mutants import chosen, mutant_at, places_of


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
