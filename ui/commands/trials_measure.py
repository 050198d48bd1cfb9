"""``vesselblend trials measure``: from a kitchen scale, a bucket and a phone to a figure with its error."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final

import click

from ui.commands.shared import delivered
from ui.delivery import Delivery

if TYPE_CHECKING:
    from optimizer.units import System
    from ui.measuring import Answer
    from ui.terminal import Block

_WORDS: Final = ("volume", "density", "piece", "bar", "whiteness", "drying", "soak", "burn")
_EXAMPLE: Final = """\b
Examples:
  vesselblend trials measure
  vesselblend trials measure volume "water=214 g, 215 g, 215 g"
  vesselblend trials measure drying "weighings=0 d: 420 g, 1 d: 387 g, 2 d: 374 g" demolded=2026-03-02
"""


@click.command("measure", epilog=_EXAMPLE)
@click.argument("what", required=False, type=click.Choice(_WORDS))
@click.argument("readings", nargs=-1, metavar="[NAME=VALUE]...")
@delivered
def trials_measure(what: str | None, readings: tuple[str, ...], delivery: Delivery) -> int:
    """Turn readings with scale, bucket, phone or thermometer into a figure to note with a trial.

    Without WHAT: what can be measured and how. Without readings: what WHAT asks for.
    """
    from ui.measuring import measured

    if what is None or not readings:
        delivery.send(_asked_json(what), _asked_blocks(what, delivery.units))
        return 0
    answers = measured(what, _typed(readings, what))
    data = {
        "answers": [
            {
                "what": one.label,
                "value": one.found.value,
                "standard_error": one.found.spread,
                "unit": one.found.unit,
                "method": one.found.method,
                "warnings": list(one.found.warnings),
                "note_as": list(one.columns),
                "more": one.more,
            }
            for one in answers
        ]
    }
    delivery.send(data, _answer_blocks(answers, delivery.units))
    return 0


def _typed(readings: Sequence[str], what: str) -> dict[str, str]:
    from optimizer.errors import Fault, FileFaults

    parts = [reading.partition("=") for reading in readings]
    shapeless = [name for name, equals, _ in parts if not equals]
    if shapeless:
        repair = "Write name=value; `vesselblend trials measure` lists the names."
        raise FileFaults(
            Fault(f"measure {what}", repr(text[:60]), "name=value", repair) for text in shapeless
        )
    return {name.strip(): value for name, _, value in parts}


def _asked_json(what: str | None) -> dict[str, object]:
    from ui.measuring import MEASUREMENTS

    names = (what,) if what else tuple(MEASUREMENTS)
    return {
        name: {
            "gives": MEASUREMENTS[name].title,
            "how": MEASUREMENTS[name].how,
            "asks": {field.name: field.hint for field in MEASUREMENTS[name].fields},
        }
        for name in names
    }


def _asked_blocks(what: str | None, units: System) -> Iterator[Block]:
    from ui.measuring import MEASUREMENTS
    from ui.terminal import heading, sentence, table
    from ui.unit_text import typed_in

    for name in (what,) if what else tuple(MEASUREMENTS):
        measurement = MEASUREMENTS[name]
        yield heading(f"{name}: {measurement.title}")
        yield sentence(measurement.how, indent=2)
        rows = [
            (
                f"{field.name}=",
                field.label,
                typed_in(field.hint, units),
                typed_in(_standing(field.default, needed=field.needed), units),
            )
            for field in measurement.fields
        ]
        yield table(("", "", "such as", ""), rows)


def _standing(default: str, *, needed: bool) -> str:
    if default:
        return f"else {default}"
    return "" if needed else "may be left out"


def _answer_blocks(answers: Sequence[Answer], units: System) -> Iterator[Block]:
    from ui.measuring import note_words, size_words
    from ui.terminal import heading, indented, sentence, table

    yield table(("", "", ""), [(one.label, size_words(one, units), one.found.method) for one in answers])
    for one in answers:
        if one.more:
            yield sentence(one.more, indent=2)
    noted = [one for one in answers if one.columns]
    if noted:
        yield sentence(
            f"To note it: vesselblend trials add --correct ID {note_words(noted, units)}", gap=True
        )
    warnings = list(dict.fromkeys(word for one in answers for word in one.found.warnings))
    if warnings:
        yield heading("Look at")
        for word in warnings:
            yield indented(word)
