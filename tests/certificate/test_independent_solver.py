"""The best blend and its proof against SCIP, an independent solver of the same model written out anew.

SCIP (Bestuzheva et al. 2023, ACM Trans. Math. Softw. 49:22, from memory) knows neither the engine's
search nor the certificate's relaxations; it gets the formulas of `tests.certificate.exact` and closes its
own gap.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.certificate import certify_bound
from optimizer.engine.cases import cases_of
from optimizer.engine.swap_search import best_mix
from optimizer.job import Limit
from optimizer.problem import problem_of
from tests.certificate.exact import Exact

GAP = 1e-4
SECONDS = 30.0
STRONG = Limit("dry_strength", ">=", 25.0)
LIGHT = Limit("dry_mass", "<=", 380.0)
SLOW = Limit("working_window", ">=", 8.0)
WHITE = Limit("whiteness", ">=", 88.0)
JOBS = {
    "sanded-gypsum": (("gypsum_cement", "silica_sand"), (STRONG, SLOW, LIGHT)),
    "two-gypsums": (("gypsum_cement", "molding_plaster", "marble_flour"), (STRONG, LIGHT)),
    "white": (("gypsum_cement", "molding_plaster", "marble_flour"), (WHITE, LIGHT)),
}
"""Of gypsum binders: what cement adds is held by looser rows, see `tests.certificate.test_containment`."""


@pytest.mark.parametrize("name", JOBS)
def test_scip_finds_no_better_blend_and_the_proof_lies_below_both(name, demo, catalogue):
    materials, limits = JOBS[name]
    asked = problem_of(replace(demo, materials=materials, limits=limits, at_most_materials=None), catalogue)
    found = best_mix(asked)
    answers = [
        Exact(asked, case, regime).solve(SECONDS, GAP)
        for case in cases_of(asked)
        for regime in ("excess", "short")
    ]
    assert {word for _, _, word in answers} <= {"infeasible", "optimal", "gaplimit"}
    best, proved = min(a[0] for a in answers), min(a[1] for a in answers)
    assert found.feasible
    assert found.value == pytest.approx(best, rel=2 * GAP)
    assert found.value >= proved - 1e-6 * proved
    assert certify_bound(asked, found, time_limit=60.0, most_nodes=3000).bound <= best * (1 + 1e-6)
