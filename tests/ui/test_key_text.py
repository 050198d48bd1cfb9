"""``init --keys`` lists what a job file may hold, neither less nor more."""

from __future__ import annotations

import json
import re

import pytest

from optimizer.jobfile import schema
from optimizer.jobfile.keys import BOUNDS, CANDLE, PRICE, SHOP, TOP_VALUES, VESSEL, key_tables
from optimizer.key_kinds import Number
from ui.cli import run

NUMBERS = [key for key in (*VESSEL, *CANDLE, *SHOP, *PRICE, *BOUNDS, *TOP_VALUES) if isinstance(key, Number)]


@pytest.mark.parametrize("table", key_tables(), ids=lambda table: table.name or "top")
def test_every_key_of_the_schema_is_listed(table) -> None:
    node = schema()
    for part in filter(None, table.name.split(".")):
        node = node["additionalProperties"] if part == "<material>" else node["properties"][part]
    apart = {"currency", "materials", "objective", "vessel", "candle", "shop", "limits", "bounds", "prices"}
    wanted = set(node["properties"]) - (set() if table.name else apart)
    assert {name for row in table.rows for name in row.names} == wanted
    assert all(row.meaning for row in table.rows)


@pytest.mark.parametrize("key", NUMBERS, ids=lambda key: key.name)
def test_the_meaning_of_a_number_names_its_unit(key) -> None:
    unit = {"degC": "°C"}.get(key.unit, key.unit)
    meanings = [row.meaning for table in key_tables() for row in table.rows if key.name in row.names]
    assert meanings
    assert all(re.search(rf"(?<!\w){re.escape(unit)}(?!\w)", meaning) for meaning in meanings)


def test_init_keys_prints_them_and_writes_nothing(tmp_path, monkeypatch, capsys) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["init", "--keys"]) == 0
    text = capsys.readouterr().out
    assert all(name in text for table in key_tables() for row in table.rows for name in row.names)
    assert run(["init", "--keys", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert listed["shop"][0] == {
        "keys": ["temperature", "humidity"],
        "meaning": "Room [°C] and relative humidity [fraction].",
        "default": "21 C, 0.5",
    }
    assert list(tmp_path.iterdir()) == []
