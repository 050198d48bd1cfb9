"""Nonsense by the million: ``python -m tests.trust.fuzz --count 1000000 --seed 1 [--door "job texts"]``.

Every door gets its part of the count. Prints what broke it, made small; the exit code is 1 when anything did.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
import traceback
from collections.abc import Sequence

from hypothesis import HealthCheck, Phase, given, seed, settings

from tests.trust.fuzz_targets import TARGETS, Target
from tests.trust.whole_commands import COMMANDS

__all__ = ["main"]

WHOLE = "whole commands"
"""A door that takes a hundred times as long as the others; only where it is named."""

_AT_ONCE = 5000
"""Inputs of one run of the generator; more runs with other seeds keep its memory flat."""


def main(words: Sequence[str]) -> int:
    """Throw nonsense and report."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=10_000, help="inputs in all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--door", choices=sorted([*TARGETS, WHOLE]), action="append", help="only these doors")
    options = parser.parse_args(words)
    doors = options.door or list(TARGETS)
    broken = [door for door in doors if not _held(door, options.count // len(doors), options.seed)]
    _tell(f"broken: {', '.join(broken) or 'none'}; most memory {_megabytes():.0f} MB")
    return int(bool(broken))


def _held(door: str, count: int, first_seed: int) -> bool:
    begun, done, slowest = time.monotonic(), 0, 0.0
    target = COMMANDS if door == WHOLE else TARGETS[door]
    while done < count:
        part = min(_AT_ONCE, count - done)
        try:
            slowest = max(
                slowest,
                _thrown(target, part, first_seed * 1_000_003 + done),
            )
        except Exception:
            _tell(f"{door}: broken after {done} inputs and up to {part} more\n{traceback.format_exc()}")
            return False
        done += part
    _tell(f"{door}: {done} inputs in {time.monotonic() - begun:.0f} s, the slowest {1e3 * slowest:.0f} ms")
    return True


def _thrown(target: Target, count: int, number: int) -> float:
    """Throw `count` inputs; return the processor time of the slowest [s]."""
    slowest = 0.0

    @seed(number)
    @settings(
        max_examples=count,
        deadline=None,
        database=None,
        derandomize=False,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.generate, Phase.shrink],
    )
    @given(target.inputs)
    def check(given_input: object) -> None:
        nonlocal slowest
        before = time.process_time()
        target.run(given_input)
        slowest = max(slowest, time.process_time() - before)

    check()
    return slowest


def _megabytes() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def _tell(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
