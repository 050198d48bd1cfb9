"""The words of the cautions, by the keys that travel with a result.

Texts say what to do and defer to local codes, standards and accredited test houses.
"""

from __future__ import annotations

from typing import Final

CAUTIONS: Final[dict[str, str]] = {
    "heat_negative": "The wall near the flame runs hotter than its mineral keeps its crystal water: expect "
    "slow powdering there. What another wick or vessel would change is worked out; a test burn decides.",
    "setting_heat": "The mix may pass 48 °C while it sets: do not touch, and spread leftovers thin; a "
    "bucketful gets far hotter.",
    "alkali": "Wet cement is caustic and burns without hurting at first: gloves that stand alkali, sealed "
    "goggles, rinse at once with plenty of water.",
    "silica": "Dust holds crystalline silica: wear a fitted N95/P2 mask or better when tipping and sanding, "
    "clean wet or with a HEPA vacuum, never dry-sweep (OSHA 29 CFR 1926.1153; follow local rules).",
    "skin": "Never cast on or around skin: setting mix grips and gets hot.",
    "titanium_dust": "Titanium white dust: do not breathe it; weigh it in still air.",
    "dust": "Powder dust: keep it down, wear a dust mask, tip bags low.",
    "stays_soft": "This blend is strong enough to leave the mold with nothing to spare: some castings may "
    "never be. Cast one vessel before you rely on it, or take less filler and water.",
    "extrapolated": "Nobody has published gypsum and cement mixed like this: cast a trial before you "
    "promise it.",
    "damp": "Late ettringite may crack this mix in damp: keep it dry, or cast one and leave it wet.",
    "bleeding": "More water than the powders hold: grains settle and the face may bleed.",
    "gypsum_water": "Gypsum softens when wet: dry rooms only, not for food, dishwasher or frost.",
    "bucket_heat": "In the mold this mix likely stays below 48 °C while it sets; leftovers in a bucket get "
    "hotter: spread them thin and keep hands off.",
    "heat_estimate": "Heat in use is an estimate: burn one and enter the outer wall you measure.",
    "candle": "A dry mineral wall drinks wax and can act as a wick: seal the inside with a heat-proof "
    "sealer, cure it, and burn at least three pieces to the end under watch before anyone else does.",
    "retest": "New blend, water or sealer makes a new vessel: repeat the seal check and the burn test.",
    "disposal": "Let leftovers set and bin them: never down the drain; keep gypsum out of organic waste.",
    "certify": "A calculated margin certifies nothing: local codes, the candle fire standards and an "
    "accredited test house have the last word.",
}
"""Caution texts by key, the gravest first: heat beyond the body, burns, dust, then what holds for all."""
