"""Many people at one page: ``python -m tests.trust.page_load --sessions 50 --minutes 10``.

Starts the page's server on the loopback address and speaks to it as browsers do, without the browsers: each
session opens the page, changes a figure now and then, leaves, and comes back as a new one. No figure comes
twice, so that every edit is a recipe to be solved. Prints how long edits took, errors, and the memory held.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.asyncio.client import ClientConnection, connect
from websockets.typing import Subprotocol

from tests.page_server import Served, page_served

__all__ = ["Seen", "crowd", "main"]

EDITS = {
    "volume": lambda chance: f"{chance.uniform(190.0, 240.0):.1f} mL",
    "dry_strength": lambda chance: f"{chance.uniform(20.0, 27.0):.2f} MPa",
    "whiteness": lambda chance: f"{chance.uniform(84.0, 89.0):.2f}",
    "dry_mass": lambda chance: f"{chance.uniform(370.0, 420.0):.1f} g",
}
"""What is edited on the first page, by the key of its field."""

_LONGEST = 60.0
"""Longest wait for an answer [s]."""


@dataclass
class Seen:
    """What the sessions saw: seconds of first screens and of edits, errors, memory over time [MB]."""

    opened: list[float] = field(default_factory=list)
    edits: list[float] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    memory: list[float] = field(default_factory=list)


def memory_of(process: int) -> float:
    """Return the memory a process holds [MB]."""
    status = Path(f"/proc/{process}/status").read_text(encoding="utf-8")
    line = next(line for line in status.splitlines() if line.startswith("VmRSS"))
    return int(line.split()[1]) / 1024.0


async def _answer(wire: ClientConnection, fields: dict[str, str], seen: Seen) -> None:
    """Read until the page is drawn; note the fields on it and anything that went wrong."""
    while True:
        message = ForwardMsg()
        message.ParseFromString(await asyncio.wait_for(wire.recv(decode=False), _LONGEST))
        kind = message.WhichOneof("type")
        if kind == "delta" and message.delta.WhichOneof("type") == "new_element":
            element = message.delta.new_element
            if element.WhichOneof("type") == "text_input":
                fields[element.text_input.id.rpartition("-")[2]] = element.text_input.id
            elif element.WhichOneof("type") == "exception":
                seen.errors.append(element.exception.message)
        elif kind == "script_finished":
            if message.script_finished == ForwardMsg.FINISHED_WITH_COMPILE_ERROR:
                seen.errors.append("the page does not compile")
            return


async def _session(port: int, chance: random.Random, pause: float, until: float, seen: Seen) -> None:
    """Open the page, change a few figures, leave."""
    address = f"ws://127.0.0.1:{port}/_stcore/stream"
    protocol = [Subprotocol("streamlit")]
    async with connect(address, subprotocols=protocol, max_size=None) as wire:
        fields: dict[str, str] = {}
        typed: dict[str, str] = {}
        begun = time.perf_counter()
        await wire.send(_asked({}, {}))
        await _answer(wire, fields, seen)
        seen.opened.append(time.perf_counter() - begun)
        for _ in range(chance.randint(3, 8)):
            await asyncio.sleep(chance.uniform(0.5, 1.5) * pause)
            key = chance.choice(sorted(EDITS))
            typed[key] = EDITS[key](chance)
            begun = time.perf_counter()
            await wire.send(_asked(fields, typed))
            await _answer(wire, fields, seen)
            seen.edits.append(time.perf_counter() - begun)
            if time.monotonic() > until:
                return


def _asked(fields: dict[str, str], typed: dict[str, str]) -> bytes:
    message = BackMsg()
    message.rerun_script.query_string = ""
    for key, value in typed.items():
        state = message.rerun_script.widget_states.widgets.add()
        state.id, state.string_value = fields[key], value
    return message.SerializeToString()


async def _person(port: int, number: int, pause: float, until: float, seen: Seen) -> None:
    chance = random.Random(number)
    await asyncio.sleep(chance.uniform(0.0, pause))
    while time.monotonic() < until:
        try:
            await _session(port, chance, pause, until, seen)
        except Exception as error:
            seen.errors.append(f"{type(error).__name__}: {error}")
            await asyncio.sleep(1.0)


async def _watched(process: int, until: float, seen: Seen) -> None:
    while time.monotonic() < until:
        seen.memory.append(memory_of(process))
        await asyncio.sleep(5.0)


async def crowd(page: Served, sessions: int, minutes: float, pause: float) -> Seen:
    """Return what so many sessions saw in so many minutes."""
    seen, until = Seen(), time.monotonic() + 60.0 * minutes
    people = (_person(page.port, number, pause, until, seen) for number in range(sessions))
    await asyncio.gather(_watched(page.process, until, seen), *people)
    return seen


def main(words: Sequence[str]) -> int:
    """Run and report; the exit code is 1 when anything went wrong."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sessions", type=int, default=50)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--pause", type=float, default=20.0, help="between the edits of a session [s]")
    options = parser.parse_args(words)
    with tempfile.TemporaryDirectory() as folder, page_served(Path(folder)) as page:
        seen = asyncio.run(crowd(page, options.sessions, options.minutes, options.pause))
    for name, times in (("first screen", seen.opened), ("edit", seen.edits)):
        middle, high = np.percentile(times, (50, 95))
        _tell(f"{name}: {len(times)}, median {middle:.2f} s, 95 % {high:.2f} s, most {max(times):.2f} s")
    third = max(1, len(seen.memory) // 3)
    early, late = (float(np.median(part)) for part in (seen.memory[third : 2 * third], seen.memory[-third:]))
    most = max(seen.memory)
    _tell(f"memory: {early:.0f} MB in the second third, {late:.0f} MB in the last, most {most:.0f} MB")
    _tell(f"errors: {len(seen.errors)}" + "".join(f"\n  {words}" for words in sorted(set(seen.errors))[:10]))
    return int(bool(seen.errors))


def _tell(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
