"""``python -m tests.benchmarks.closed_loop``: the table of strategies; minutes for each studio."""

from __future__ import annotations

import sys

import numpy as np

from optimizer.specs import load_catalogue
from tests.benchmarks.closed_loop.loop import STRATEGIES, Outcome, run


def table(outcomes: list[Outcome], casts: int) -> str:
    """Return how often blends are good, what they cost over the optimum, and how true the words were."""
    head = "| strategy | casts | good | over, median | over, 90 % | stated | held |"
    lines = [head, "|" + "---|" * 7]
    for strategy in STRATEGIES:
        for number in range(casts + 1):
            here = [one for one in outcomes if one.strategy == strategy and one.casts == number]
            if here:
                lines.append(_row(strategy, number, here))
    return "\n".join(lines)


def _row(strategy: str, number: int, here: list[Outcome]) -> str:
    over = [one.over for one in here if one.good] or [float("nan")]
    held = [inside for one in here for inside in one.held.values()] or [float("nan")]
    stated = float(np.mean([one.stated for one in here]))
    good = float(np.mean([one.good for one in here]))
    low, high = np.quantile(over, (0.5, 0.9))
    return (
        f"| {strategy} | {number} | {good:.2f} of {len(here)} | {low:+.1%} | {high:+.1%} | {stated:.2f} | "
        f"{float(np.mean(held)):.2f} |"
    )


def main() -> None:
    """Run studios ``first`` to ``last`` with so many casts, and print the table."""
    first, last, casts = (int(word) for word in (sys.argv[1:4] or ("0", "48", "3")))
    names = sys.argv[4:] or list(STRATEGIES)
    catalogue, outcomes = load_catalogue(), []
    for seed in range(first, last):
        for strategy in names:
            outcomes += run(seed, strategy, casts, catalogue)
        sys.stdout.write(f"{table(outcomes, casts)}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
