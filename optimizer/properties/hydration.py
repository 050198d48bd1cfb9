"""What the binder phases turn into: hydrates, left-overs and bound water of any mix.

The rules, in the order they act (complete reaction; Glasser and Zhang, Cem. Concr. Res. 31 (2001)
1881, and Lothenbach et al., ibid. 115 (2019) 472, from memory):

1. hemihydrate takes its own water first and becomes gypsum: it dissolves fastest;
2. ye'elimite reacts to one common degree, limited by the water left; anhydrite dissolves to the same
   degree (a judgement: no published rule for mixes short of water);
3. lime, where there is any, goes first, then ettringite forms while there is sulfate, then either
   monosulfate (sulfate short) or gypsum (sulfate left): never both.

Moles per mole of ye'elimite rule every line below, so the balance of mass and atoms is exact.
Belite is left inert: it is slow, and its late gain is part of a cement's own strength curve.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from optimizer.constants import MOLAR_MASSES
from optimizer.properties.arrays import TINY, Values

NO_YEELIMITE: Final = 1e6
"""Ceiling of the sulfate ratio, and its value where sulfate meets no ye'elimite at all."""

_YEELIMITE: Final = MOLAR_MASSES["yeelimite"]
_HEMIHYDRATE: Final = MOLAR_MASSES["hemihydrate"]
_ANHYDRITE: Final = MOLAR_MASSES["anhydrite"]
_GYPSUM: Final = MOLAR_MASSES["gypsum"]
_LIME: Final = MOLAR_MASSES["lime"]
_WATER: Final = MOLAR_MASSES["water"]
_ETTRINGITE: Final = MOLAR_MASSES["ettringite"]
_MONOSULFATE: Final = MOLAR_MASSES["monosulfate"]
_ALUMINUM: Final = MOLAR_MASSES["aluminum_hydroxide"]


@dataclass(frozen=True)
class Hydrates:
    """What a mix has become. All masses are in the unit of the masses given to `hydrate`.

    Attributes
    ----------
    ettringite, monosulfate, gypsum, aluminum_hydroxide : Values
        Hydrates [mass]; `gypsum` includes gypsum that was in the mix from the start.
    given_yeelimite, given_hemihydrate, given_anhydrite, given_gypsum, given_lime : Values
        Amounts in the mix [mass].
    reacted_lime : Values
        Lime used up [mass].
    bound_water : Values
        Water used up [mass].
    full_demand : Values
        Water the mix needs for complete reaction [mass].
    degree : Values
        Degree of reaction of ye'elimite and anhydrite [fraction]; 1 where there is neither.
    hemihydrate_degree : Values
        Degree of reaction of hemihydrate [fraction]; 1 where there is none.
    sulfate_ratio : Values
        Moles of calcium sulfate, all forms, per mole of ye'elimite [-], at most `NO_YEELIMITE`
        (its value where there is sulfate and no ye'elimite; 0 where there is neither).
    """

    ettringite: Values
    monosulfate: Values
    gypsum: Values
    aluminum_hydroxide: Values
    given_yeelimite: Values
    given_hemihydrate: Values
    given_anhydrite: Values
    given_gypsum: Values
    given_lime: Values
    reacted_lime: Values
    bound_water: Values
    full_demand: Values
    degree: Values
    hemihydrate_degree: Values
    sulfate_ratio: Values

    @property
    def yeelimite(self) -> Values:
        """Ye'elimite left over [mass]."""
        return self.given_yeelimite - self.reacted_yeelimite

    @property
    def hemihydrate(self) -> Values:
        """Hemihydrate left over [mass]."""
        return self.given_hemihydrate - self.reacted_hemihydrate

    @property
    def anhydrite(self) -> Values:
        """Anhydrite left over [mass]."""
        return self.given_anhydrite - self.reacted_anhydrite

    @property
    def lime(self) -> Values:
        """Lime left over [mass]."""
        return self.given_lime - self.reacted_lime

    @property
    def reacted_yeelimite(self) -> Values:
        """Ye'elimite used up [mass]."""
        return self.given_yeelimite * self.degree

    @property
    def reacted_hemihydrate(self) -> Values:
        """Hemihydrate used up [mass]."""
        return self.given_hemihydrate * self.hemihydrate_degree

    @property
    def reacted_anhydrite(self) -> Values:
        """Anhydrite used up [mass]."""
        return self.given_anhydrite * self.degree


@dataclass(frozen=True)
class _Demand:
    """What is left to react once lime has had its share, and what water that takes.

    Moles of water per unit of degree: ettringite by way of gypsum takes 34, monosulfate 18 and the
    lime reaction 90 before the water its gypsum brings; a mole of sulfate holds 2 while it is in
    excess (`rich`) and takes 10 into ettringite while it is short (`lean`).
    """

    yeelimite: Values
    sulfate: Values
    rich: Values
    lean: Values
    lime_reaction: Values = 0.0


def _demand(yeelimite: Values, anhydrite: Values, sulfate: Values, lime: Values) -> _Demand:
    """Return the demand of ye'elimite and anhydrite beside `sulfate` and `lime` [all mol]."""
    if isinstance(lime, float | int) and lime == 0.0:
        return _Demand(
            yeelimite, anhydrite, 34.0 * yeelimite + 2.0 * anhydrite, 18.0 * yeelimite + 10.0 * anhydrite
        )
    extent = np.minimum(yeelimite, np.minimum(lime / 6.0, sulfate / 8.0))
    plain, pool = yeelimite - extent, anhydrite - 8.0 * extent
    return _Demand(
        plain,
        pool,
        90.0 * extent + 34.0 * plain + 2.0 * pool,
        90.0 * extent + 18.0 * plain + 10.0 * pool,
        extent,
    )


def hydrate(
    yeelimite: Values,
    hemihydrate: Values,
    anhydrite: Values,
    gypsum: Values,
    lime: Values,
    water: Values,
    most: Values = 1.0,
) -> Hydrates:
    """Return the hydrates, left-overs and bound water of a mix.

    Parameters
    ----------
    yeelimite, hemihydrate, anhydrite, gypsum, lime, water : Values
        Amounts in the mix [any one unit of mass], none negative; they broadcast. `lime` is slaked
        lime, or the lime that Portland cement sets free; a plain 0.0 skips its lines.
    most : Values
        Degree to which ye'elimite and anhydrite react with water in plenty [fraction].

    Returns
    -------
    Hydrates
        Masses in the unit of the inputs.

    Notes
    -----
    With `s` moles of sulfate and `y` of ye'elimite at hand, ettringite takes ``min(y, s/2)``. The
    water used up is then the lesser of two straight lines in the degree, one for enough sulfate and
    one for too little, so the degree that a given water allows is the greater of two quotients.

    Examples
    --------
    >>> plaster = hydrate(0.0, 100.0, 0.0, 0.0, 0.0, 35.0)
    >>> round(float(plaster.gypsum), 2), round(float(plaster.bound_water), 2)
    (118.62, 18.62)
    """
    y, h = yeelimite / _YEELIMITE, hemihydrate / _HEMIHYDRATE
    a, g, w = anhydrite / _ANHYDRITE, gypsum / _GYPSUM, water / _WATER
    sulfate, own = h + a + g, 1.5 * h
    need = _demand(y, a, sulfate, lime / _LIME)
    started = np.minimum((w + TINY) / (own + TINY), 1.0)
    pool, rest = h * started + g, np.maximum(w - own, 0.0)
    degree = np.maximum((rest + TINY) / (need.rich + TINY), (rest - 8.0 * pool) / (need.lean + TINY))
    degree = np.minimum(degree, most)
    reacted, left = degree * need.yeelimite, np.maximum(pool + degree * need.sulfate, 0.0)
    early = np.minimum(reacted, 0.5 * left)
    limed = degree * need.lime_reaction
    taken = np.minimum(degree * need.rich, degree * need.lean + 8.0 * pool)
    return Hydrates(
        ettringite=_ETTRINGITE * (early + 3.0 * limed),
        monosulfate=_MONOSULFATE * (reacted - early),
        gypsum=_GYPSUM * (left - 2.0 * early),
        aluminum_hydroxide=(2.0 * _ALUMINUM) * reacted,
        given_yeelimite=yeelimite,
        given_hemihydrate=hemihydrate,
        given_anhydrite=anhydrite,
        given_gypsum=gypsum,
        given_lime=lime,
        reacted_lime=(6.0 * _LIME) * limed,
        bound_water=_WATER * (own * started + taken),
        full_demand=_WATER * (own + np.minimum(need.rich, need.lean + 8.0 * (h + g))),
        degree=degree,
        hemihydrate_degree=started,
        sulfate_ratio=np.minimum(sulfate / (y + TINY), NO_YEELIMITE),
    )
