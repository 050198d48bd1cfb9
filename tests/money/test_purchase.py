"""Whole bags: every small purchase against all purchases there are, and a few by hand."""

from __future__ import annotations

import itertools
import math
import random

import pytest

from optimizer.errors import FileFaults
from optimizer.job import Price, Shop
from optimizer.money.landed_cost import purchase_money
from optimizer.money.purchase import buy_bags, stock_limits
from optimizer.units import parse

_WAGE = 20.0


def _random_offer(draw: random.Random) -> Price:
    first = draw.choice([2, 3, 4])
    low, high = sorted(draw.sample(range(5, 40), 2))
    breaks = ((first, float(high - 1)), (first + 2, float(low))) if draw.random() < 0.5 else ()
    return Price(
        pack=draw.choice([5.0, 10.0, 25.0]),
        price=float(high),
        tax=draw.choice([0.0, 0.2]),
        freight=draw.choice([0.0, 4.0, 15.0]),
        freight_per_kg=draw.choice([0.0, 0.1]),
        trip_distance=draw.choice([0.0, 20.0]),
        trip_rate=0.3,
        trip_hours=draw.choice([0.0, 0.5]),
        breaks=breaks,
        lost=draw.choice([0.0, 0.04]),
        stock=draw.choice([None, 3.0, 30.0]),
        supplier=draw.choice(["", "north", "south"]),
        free_freight_from=draw.choice([None, 60.0, 100.0]),
    )


def _money(counts: tuple[int, ...], offers: list[Price]) -> float:
    """Add up a purchase from its words: one freight and one trip for each seller, breaks on all packs."""
    total = 0.0
    sellers: dict[str, list[tuple[int, Price, float]]] = {}
    for place, (count, offer) in enumerate(zip(counts, offers, strict=True)):
        if not count:
            continue
        each = offer.price
        for start, cheaper in offer.breaks:
            each = cheaper if count >= start else each
        goods = count * each
        total += goods * (1.0 + offer.tax) + count * offer.pack * offer.freight_per_kg
        sellers.setdefault(offer.supplier or str(place), []).append((count, offer, goods))
    for bought in sellers.values():
        free = [offer.free_freight_from for _, offer, _ in bought if offer.free_freight_from]
        if not free or sum(goods for *_, goods in bought) < max(free):
            total += max(offer.freight for _, offer, _ in bought)
        total += max(
            offer.trip_distance * offer.trip_rate + offer.trip_hours * _WAGE for _, offer, _ in bought
        )
    return total


def _cheapest(needs: dict[str, float], offers: dict[str, list[Price]], most: int) -> float:
    flat = [(name, offer) for name in needs for offer in offers[name]]
    best = math.inf
    for counts in itertools.product(range(most + 1), repeat=len(flat)):
        got = {name: max(offer.stock or 0.0 for offer in offers[name]) for name in needs}
        for count, (name, offer) in zip(counts, flat, strict=True):
            got[name] += count * offer.pack * (1.0 - offer.lost)
        if all(got[name] >= need - 1e-6 for name, need in needs.items()):
            best = min(best, _money(counts, [offer for _, offer in flat]))
    return best


@pytest.mark.parametrize("block", range(10))
def test_no_small_purchase_is_cheaper_than_the_one_found(block):
    """500 random needs of one or two materials with one or two offers, against every combination of packs."""
    for seed in range(50 * block, 50 * block + 50):
        draw = random.Random(seed)
        names = ["gypsum_cement", "sand"][: draw.choice([1, 2])]
        offers = {name: [_random_offer(draw) for _ in range(draw.choice([1, 2]))] for name in names}
        needs = {name: float(draw.randint(0, 4) * 5 + draw.choice([0, 1])) for name in names}
        packs = 8 if sum(map(len, offers.values())) < 4 else 6
        found = buy_bags(needs, offers, _WAGE)
        assert found.total == pytest.approx(_cheapest(needs, offers, packs), abs=1e-6), seed


def test_two_more_packs_are_cheaper_than_fewer_at_the_higher_price():
    """Eight packs at 10 cost 80; ten at 7.50 cost 75 (own arithmetic)."""
    bought = buy_bags({"sand": 200.0}, {"sand": Price(pack=25.0, price=10.0, breaks=((10, 7.5),))})
    assert (bought.packs("sand"), bought.total, bought.left["sand"]) == (10, 75.0, 50.0)


def test_one_more_pack_saves_the_freight():
    """Three packs at 20 with 30 of freight cost 90; from 80 the freight is free: four cost 80."""
    offer = Price(pack=25.0, price=20.0, freight=30.0, free_freight_from=80.0)
    bought = buy_bags({"sand": 75.0}, {"sand": offer})
    assert (bought.packs("sand"), bought.total) == (4, 80.0)


def test_one_seller_delivers_once():
    """Two materials of one seller share 15 of freight; of two sellers they pay it twice (own arithmetic)."""
    needs = {"sand": 20.0, "mortar": 20.0}
    shared = {name: Price(pack=25.0, price=10.0, freight=15.0, supplier="north") for name in needs}
    apart = {name: Price(pack=25.0, price=10.0, freight=15.0) for name in needs}
    assert buy_bags(needs, shared).total == 35.0
    assert buy_bags(needs, apart).total == 50.0


def test_freight_or_a_drive_whichever_costs_less():
    """18 delivered, or 40 km at 0.30 and half an hour at 20, which is 22 (own arithmetic)."""
    delivered = Price(pack=25.0, price=10.0, freight=18.0)
    fetched = Price(pack=25.0, price=10.0, trip_distance=40.0, trip_rate=0.3, trip_hours=0.5)
    bought = buy_bags({"sand": 20.0}, {"sand": [delivered, fetched]}, wage=20.0)
    assert bought.bags[0].offer is delivered
    bought = buy_bags({"sand": 20.0}, {"sand": [delivered, fetched]}, wage=10.0)
    assert bought.bags[0].offer is fetched


def test_small_packs_top_up_what_large_ones_leave():
    """31 kg: one bag of 25 kg at 40 and two of 5 kg at 12 cost 64, two bags 80 (own arithmetic)."""
    sizes = [Price(pack=25.0, price=40.0), Price(pack=5.0, price=12.0)]
    bought = buy_bags({"gypsum_cement": 31.0}, {"gypsum_cement": sizes})
    assert [(line.packs, line.offer.pack) for line in bought.bags] == [(1, 25.0), (2, 5.0)]
    assert bought.total == 64.0


def test_the_shelf_comes_first_and_a_full_shelf_buys_nothing():
    prices = {"sand": Price(pack=25.0, price=10.0, freight=9.0, stock=40.0)}
    bought = buy_bags({"sand": 40.0}, prices)
    assert (bought.bags, bought.total, bought.left["sand"]) == ((), 0.0, 0.0)
    bought = buy_bags({"sand": 41.0}, prices)
    assert (bought.packs("sand"), bought.from_stock["sand"], bought.left["sand"]) == (1, 40.0, 24.0)


def test_pounds_and_kilograms_buy_the_same_bags():
    """50 lb = 22.67961850 kg exactly (NIST SP 811)."""
    needs = {"gypsum_cement": 181.4}
    in_pounds = buy_bags(needs, {"gypsum_cement": Price(pack=parse("50 lb", "kg"), price=23.0)})
    in_kilograms = buy_bags(needs, {"gypsum_cement": Price(pack=22.6796185, price=23.0)})
    assert in_pounds.packs("gypsum_cement") == in_kilograms.packs("gypsum_cement") == 8
    assert in_pounds.total == in_kilograms.total


def test_a_large_purchase_is_the_division_rounded_up():
    """3.5 t in bags of 25 kg: 140 (own arithmetic)."""
    bought = buy_bags({"sand": 3500.0}, {"sand": Price(pack=25.0, price=10.0, freight=90.0)})
    assert (bought.packs("sand"), bought.total) == (140, 1490.0)


def test_what_costs_nothing_is_still_counted_in_packs():
    """Three packs of 25 kg hold 75 kg, whether given away or not (own arithmetic)."""
    bought = buy_bags({"sand": 75.0}, {"sand": Price(pack=25.0, price=0.0)})
    assert (bought.packs("sand"), bought.total) == (3, 0.0)


def test_the_parts_are_the_total():
    offer = Price(pack=25.0, price=9.99, tax=0.19, freight=7.5, freight_per_kg=0.03)
    bought = buy_bags({"sand": 130.0}, {"sand": offer}, wage=17.0)
    assert bought.parts == purchase_money(bought.bags, 17.0)
    assert round(sum(bought.parts.values()), 2) == round(bought.total, 2)
    assert bought.total == pytest.approx(6 * 9.99 * 1.19 + 7.5 + 150 * 0.03)


def test_a_short_material_without_a_price_names_itself():
    with pytest.raises(FileFaults) as caught:
        buy_bags({"sand": 1.0, "mortar": 2.0}, {"mortar": Price(pack=20.0, price=30.0)})
    (fault,) = caught.value.faults
    assert fault.where == "prices.sand"
    assert buy_bags({"sand": 0.0}, {}).total == 0.0


def test_the_shelf_limits_what_a_cavity_may_take():
    """92 good vessels at 8 % rejects are 106 pours; 57.24 kg with 8 % waste give 0.5 kg each."""
    prices = {"gypsum_cement": Price(pack=25.0, price=40.0, stock=57.24), "sand": Price(pack=25.0, price=5.0)}
    limits = stock_limits(prices, 92, Shop(reject=0.08, waste=0.08))
    assert limits == {"gypsum_cement": pytest.approx(0.5)}
    assert stock_limits(prices, 0, Shop())["gypsum_cement"] == math.inf
