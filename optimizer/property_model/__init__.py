"""The property chain: from the masses in a liter of slurry to every property of the vessel.

``parameters`` (what is uncertain) -> ``model`` (one table of coefficients, linear in the masses) ->
``microstructure`` (the hardened body: shares, pores, volumes) -> ``strength``, ``timing``, ``predict``
(properties) -> ``samples``, ``uncertainty`` (ranges).
"""
