"""``python -m tests.benchmarks.closed_loop``: the table of strategies; minutes for each studio."""

from __future__ import annotations

import sys

import numpy as np

from optimizer.specs import load_catalogue
from tests.benchmarks.closed_loop.loop import JUDGED, STRATEGIES, Outcome, run


def table(outcomes: list[Outcome], casts: int) -> str:
    """Return how often blends are good, what they cost over the optimum, and how true the words were."""
    head = (
        "| strategy | casts | good | over, median, 90 % | over reserve, median, 90 % | stated | true | held |"
    )
    lines = [head, "|" + "---|" * 8]
    for strategy in STRATEGIES:
        for number in range(casts + 1):
            here = [one for one in outcomes if one.strategy == strategy and one.casts == number]
            if here:
                lines.append(_row(strategy, number, here))
    return "\n".join(lines)


def _row(strategy: str, number: int, here: list[Outcome]) -> str:
    good = [one for one in here if one.good]
    held = [inside for one in here for inside in one.held.values()] or [float("nan")]
    stated, true = (float(np.mean([getattr(x, name) for x in here])) for name in ("stated", "true_chance"))
    return (
        f"| {strategy} | {number} | {len(good) / len(here):.2f} of {len(here)} | "
        f"{_points([one.over for one in good])} | {_points([one.over_reserve for one in good])} | "
        f"{stated:.2f} | {true:.2f} | {float(np.mean(held)):.2f} |"
    )


def _points(over: list[float]) -> str:
    """Return the median and the 90 % point; a reserve that no blend clears counts for nothing."""
    known = [one for one in over if np.isfinite(one) and one > -1.0] or [float("nan")]
    low, high = np.quantile(known, (0.5, 0.9))
    return f"{low:+.1%}, {high:+.1%}"


def _coverage(outcomes: list[Outcome]) -> str:
    """Return by number of casts and property the share of stated ranges that held the truth."""
    lines = ["| casts | " + " | ".join(JUDGED) + " |", "|" + "---|" * (1 + len(JUDGED))]
    for number in sorted({one.casts for one in outcomes}):
        held = [one.held for one in outcomes if one.casts == number and one.held]
        shares = [np.mean([each[name] for each in held if name in each] or [np.nan]) for name in JUDGED]
        lines.append(f"| {number} | " + " | ".join(f"{float(share):.2f}" for share in shares) + " |")
    return "\n".join(lines)


def main() -> None:
    """Run studios ``first`` to ``last`` with so many casts, and print the table."""
    first, last, casts = (int(word) for word in (sys.argv[1:4] or ("0", "48", "3")))
    names = sys.argv[4:] or list(STRATEGIES)
    catalogue, outcomes = load_catalogue(), []
    for seed in range(first, last):
        for strategy in names:
            outcomes += run(seed, strategy, casts, catalogue)
        sys.stdout.write(f"{table(outcomes, casts)}\n\n{_coverage(outcomes)}\n\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
