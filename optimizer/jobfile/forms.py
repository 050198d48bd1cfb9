"""A job file as a pydantic model, built from the annotated records.

Only `optimizer.jobfile` imports this module, and late: pydantic takes a while to import.
"""

from __future__ import annotations

from functools import cache
from typing import Annotated, Any, Final

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, WithJsonSchema, create_model

from optimizer.job import Bounds, Candle, Job, Price, Shop, Vessel
from optimizer.jobfile.keys import Bound, Currency, Objective, meanings
from optimizer.key_kinds import Key, keys_of
from optimizer.nomenclature import PROPERTIES, QUANTITIES

_Names = Annotated[
    Any,  # read beside the catalogue, which knows the names
    WithJsonSchema({"type": "array", "items": {"type": "string"}, "minItems": 1, "uniqueItems": True}),
]


_CLOSED: Final = ConfigDict(extra="forbid")


@cache
def job_form() -> type[BaseModel]:
    """Return the model of a job file: tables are models of their own, values are read by their kinds."""
    limits: dict[str, Any] = {
        name: _field(Bound(name), f"{QUANTITIES[name].meaning} [{QUANTITIES[name].unit}]")
        for name in PROPERTIES
    }
    words = meanings(Job)
    fields: dict[str, Any] = {
        **_fields(Job),
        "currency": _field(Currency(), words["currency"], needed=True),
        "materials": _field(_Names, words["materials"], needed=True),
        "objective": _field(Objective(), words["objective"]),
        "vessel": _field(_form(Vessel), words["vessel"], needed=True),
        "candle": _field(_form(Candle), words["candle"]),
        "shop": _field(_form(Shop), words["shop"]),
        "limits": _field(create_model("Limits", __config__=_CLOSED, **limits), words["limits"]),
        "bounds": _field(dict[str, _form(Bounds)], words["bounds"]),  # type: ignore[misc]  # a type at run time
        "prices": _field(dict[str, _form(Price)], words["prices"]),  # type: ignore[misc]  # a type at run time
    }
    return create_model("Job", __config__=_CLOSED, **fields)


def _form(record: type) -> type[BaseModel]:
    return create_model(record.__name__, __config__=_CLOSED, **_fields(record))


def _fields(record: type) -> dict[str, Any]:
    words = meanings(record)
    return {
        key.name: _field(key, words.get(key.field or key.name, ""), needed=key.name in ("pack", "price"))
        for key in keys_of(record)
    }


def _field(kind: Any, words: str, *, needed: bool = False) -> tuple[Any, Any]:  # noqa: ANN401  a type or a kind
    hint = Annotated[Any, PlainValidator(kind.read), kind] if isinstance(kind, Key) else kind
    return hint, Field(... if needed else None, description=words)
