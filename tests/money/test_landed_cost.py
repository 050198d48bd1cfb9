"""Landed price: parts, price breaks, loss and shelf life."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from optimizer.job import Price
from optimizer.money.landed_cost import check_price, landed_price, pack_price
from optimizer.units import parse

_DISCOUNT = Path(__file__).parents[1] / "reference" / "quantity_discount.csv"


def _discount_rows() -> list[dict[str, str]]:
    lines = _DISCOUNT.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.mark.parametrize("row", _discount_rows(), ids=lambda row: f"Heizer-Render-from-memory-{row['order']}")
def test_goods_and_freight_follow_the_textbook_quantity_discount(row):
    """An order costs 49 whatever its size: the freight of the landed price is the book's ordering cost."""
    offer = Price(pack=1.0, price=5.00, freight=49.0, breaks=((1000, 4.80), (2000, 4.75)))
    landed = landed_price(offer, wage=0.0, packs=float(row["order"]))
    assert landed.pack_price == float(row["price"])
    assert 5000 * landed.parts["goods"] == pytest.approx(float(row["product"]))
    assert 5000 * landed.parts["freight"] == pytest.approx(float(row["ordering"]))


def test_every_part_of_a_hand_worked_pack():
    """Two packs of 20 kg at 30, worked by hand (own arithmetic).

    Goods 30 / 20 = 1.50; tax 10 % of the goods 0.15; freight 12 / 40 + 0.05 = 0.35; trip (40 km at 0.25 and
    half an hour at 20) / 40 = 0.50; together 2.50 a bought kilogram; 5 % lost: 2.50 / 0.95 = 2.6316.
    """
    offer = Price(
        pack=20.0,
        price=30.0,
        tax=0.10,
        freight=12.0,
        freight_per_kg=0.05,
        packs_per_order=2,
        trip_distance=40.0,
        trip_rate=0.25,
        trip_hours=0.5,
        lost=0.05,
    )
    landed = landed_price(offer, wage=20.0)
    wanted = {"goods": 1.50, "tax": 0.15, "freight": 0.35, "trip": 0.50, "lost": 2.5 / 0.95 - 2.5}
    assert landed.parts == pytest.approx(wanted)
    assert landed.per_usable_kg == pytest.approx(2.5 / 0.95)


def test_small_packs_cost_several_times_bulk():
    """Hobby packs at 4.50 a pound against 25 lb at about 1.00 a pound (a caster's notes of 2011)."""
    small = landed_price(Price(pack=parse("1 lb", "kg"), price=4.50), wage=0.0).per_usable_kg
    bulk = landed_price(Price(pack=parse("25 lb", "kg"), price=25.0), wage=0.0).per_usable_kg
    assert small / bulk == pytest.approx(4.5)


def test_pounds_and_kilograms_land_at_the_same_price():
    """50 lb = 22.67961850 kg exactly (NIST SP 811, international pound)."""
    in_pounds = Price(pack=parse("50 lb", "kg"), price=23.0, freight=30.0, packs_per_order=4)
    in_kilograms = Price(pack=22.6796185, price=23.0, freight=30.0, packs_per_order=4)
    a, b = landed_price(in_pounds, 20.0), landed_price(in_kilograms, 20.0)
    assert a.per_usable_kg == pytest.approx(b.per_usable_kg, rel=1e-12)


def test_a_break_counts_from_its_own_number_of_packs():
    offer = Price(pack=25.0, price=10.0, breaks=((5, 9.0), (10, 8.0)))
    assert [pack_price(offer, packs) for packs in (1, 4, 5, 9, 10, 99)] == [10.0, 10.0, 9.0, 9.0, 8.0, 8.0]


@pytest.mark.parametrize(
    ("offer", "where"),
    [
        pytest.param(Price(pack=0.0, price=1.0), "price.pack", id="empty-pack"),
        pytest.param(Price(pack=25.0, price=-1.0), "price.price", id="negative-price"),
        pytest.param(Price(pack=25.0, price=1.0, lost=1.0), "price.lost", id="all-lost"),
        pytest.param(Price(pack=25.0, price=1.0, shelf_life=0.0), "price.shelf_life", id="never-keeps"),
        pytest.param(Price(pack=25.0, price=1.0, stock=-2.0), "price.stock", id="negative-stock"),
        pytest.param(
            Price(pack=25.0, price=9.0, breaks=((10, 8.0), (5, 8.5))),
            "price.breaks",
            id="breaks-out-of-order",
        ),
        pytest.param(
            Price(pack=25.0, price=9.0, breaks=((0, 8.0),)), "price.breaks", id="break-from-no-pack"
        ),
    ],
)
def test_a_bad_price_names_its_place_and_its_repair(offer, where):
    (fault,) = check_price(offer)
    assert fault.where == where
    assert fault.repair.endswith(".")


def test_a_sound_price_has_no_fault():
    for breaks in (((2, 8.5), (10, 8.0)), ((1, 8.0),)):
        assert check_price(Price(pack=25.0, price=9.0, breaks=breaks, stock=0.0)) == []
