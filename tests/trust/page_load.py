"""Many people at one page: ``python -m tests.trust.page_load --sessions 50 --minutes 30``.

Starts the page's server on the loopback address and speaks to it as browsers do, without the browsers: each
window changes a figure about once a minute, now and then leaves, and comes back as a new one. No figure comes
twice, so that every edit is a recipe to be solved. Prints how long edits took to grams and until all was
told, errors, and the memory over time of the server and of its second process.

With ``--installed PYTHON``, the Python of an environment in which the package is installed, that copy is
served, from a folder outside of this checkout.
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
from streamlit.proto.Element_pb2 import Element
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
"""Longest wait for grams [s]."""

_EVERY = 5.0
"""Time between two looks at the memory [s]."""


@dataclass
class Seen:
    """What the windows saw.

    Attributes
    ----------
    opened, edits, told : list[float]
        Time of first screens, of edits to their grams, and of edits until all was told [s].
    untold : int
        Edits of which not all was told when the next one came [count].
    errors : list[str]
        What went wrong.
    memory, second : list[float]
        Memory of the server and of its second process over time [MB].
    """

    opened: list[float] = field(default_factory=list)
    edits: list[float] = field(default_factory=list)
    told: list[float] = field(default_factory=list)
    untold: int = 0
    errors: list[str] = field(default_factory=list)
    memory: list[float] = field(default_factory=list)
    second: list[float] = field(default_factory=list)


def memory_of(process: int) -> float:
    """Return the memory a process holds [MB]."""
    status = Path(f"/proc/{process}/status").read_text(encoding="utf-8")
    line = next(line for line in status.splitlines() if line.startswith("VmRSS"))
    return int(line.split()[1]) / 1024.0


def children_of(process: int) -> list[int]:
    """Return the processes a process has started."""
    tasks = Path(f"/proc/{process}/task").glob("*/children")
    return [int(word) for task in tasks for word in task.read_text(encoding="utf-8").split()]


class _Window:
    """One window: what its fields are called, and what it waits for."""

    def __init__(self, wire: ClientConnection, seen: Seen) -> None:
        self.wire, self.seen = wire, seen
        self.fields: dict[str, str] = {}
        self.begun = 0.0
        self.grams: list[float] | None = None
        self.told: list[float] | None = None

    async def send(self, typed: dict[str, str], grams: list[float], told: list[float]) -> None:
        """Ask the page with these fields; times go into the lists."""
        if self.grams is not None:
            self.seen.errors.append("no grams before the next edit")
        self.seen.untold += self.told is not None
        self.begun, self.grams, self.told = time.perf_counter(), grams, told
        await self.wire.send(_asked(self.fields, typed))

    async def read(self, seconds: float, *, to_grams: bool = False) -> None:
        """Read for some time, or until grams are there."""
        until = time.monotonic() + seconds
        while (left := until - time.monotonic()) > 0.0 and not (to_grams and self.grams is None):
            try:
                sent = await asyncio.wait_for(self.wire.recv(decode=False), left)
            except TimeoutError:
                return
            message = ForwardMsg()
            message.ParseFromString(sent)
            self._take(message)

    def _take(self, message: ForwardMsg) -> None:
        kind = message.WhichOneof("type")
        if kind == "delta" and message.delta.WhichOneof("type") == "new_element":
            self._draw(message.delta.new_element)
        elif kind == "script_finished":
            if message.script_finished == ForwardMsg.FINISHED_WITH_COMPILE_ERROR:
                self.seen.errors.append("the page does not compile")
            elif message.script_finished == ForwardMsg.FINISHED_SUCCESSFULLY and self.grams is None:
                self.told = self._noted(self.told)

    def _draw(self, element: Element) -> None:
        kind = element.WhichOneof("type")
        if kind == "text_input":
            self.fields[element.text_input.id.rpartition("-")[2]] = element.text_input.id
        elif kind == "exception":
            self.seen.errors.append(element.exception.message)
        elif kind == "html" and 'class="weigh"' in element.html.body:
            self.grams = self._noted(self.grams)

    def _noted(self, times: list[float] | None) -> None:
        if times is not None:
            times.append(time.perf_counter() - self.begun)


async def _session(port: int, chance: random.Random, pause: float, until: float, seen: Seen) -> None:
    """Open the page, change a good many figures, leave."""
    address = f"ws://127.0.0.1:{port}/_stcore/stream"
    async with connect(address, subprotocols=[Subprotocol("streamlit")], max_size=None) as wire:
        window = _Window(wire, seen)
        typed: dict[str, str] = {}
        await window.send({}, seen.opened, [])
        await window.read(_LONGEST, to_grams=True)
        for _ in range(chance.randint(8, 24)):
            await window.read(chance.uniform(0.5, 1.5) * pause)
            key = chance.choice(sorted(EDITS))
            typed[key] = EDITS[key](chance)
            await window.send(typed, seen.edits, seen.told)
            await window.read(_LONGEST, to_grams=True)
            if time.monotonic() > until:
                return
        await window.read(chance.uniform(0.5, 1.5) * pause)


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
        seen.second.append(sum(map(memory_of, children_of(process))))
        await asyncio.sleep(_EVERY)


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
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--pause", type=float, default=60.0, help="between the edits of a window [s]")
    parser.add_argument("--installed", metavar="PYTHON", help="serve the copy installed in its environment")
    options = parser.parse_args(words)
    with (
        tempfile.TemporaryDirectory() as folder,
        page_served(Path(folder), python=options.installed) as page,
    ):
        _tell(f"serves {page.package}")
        seen = asyncio.run(crowd(page, options.sessions, options.minutes, options.pause))
    for name, times in (
        ("first screen", seen.opened),
        ("edit to grams", seen.edits),
        ("all told", seen.told),
    ):
        _tell(f"{name}: {_spread(times)}")
    _tell(f"not all told before the next edit: {seen.untold}")
    for name, sizes in (("server", seen.memory), ("second process", seen.second)):
        _tell(f"memory of the {name} over time [MB]: {' '.join(f'{size:.0f}' for size in _thinned(sizes))}")
    _tell(f"errors: {len(seen.errors)}" + "".join(f"\n  {words}" for words in sorted(set(seen.errors))[:10]))
    return int(bool(seen.errors))


def _spread(times: Sequence[float]) -> str:
    if not times:
        return "none"
    middle, high = np.percentile(times, (50, 95))
    return f"{len(times)}, median {middle:.2f} s, 95 % {high:.2f} s, most {max(times):.2f} s"


def _thinned(sizes: Sequence[float], most: int = 12) -> list[float]:
    """Return at most so many of the sizes, evenly spread over time, the last one among them."""
    step = max(1, -(-len(sizes) // most))
    return list(sizes[::-1][::step][::-1])


def _tell(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
