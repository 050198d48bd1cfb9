"""A proved bound beside every answer: how much better any blend of this model could be.

Best-first branch and bound with linear relaxations of the property chain. The proof covers every mix that
the engine would call feasible, in every case of steps and in both hydration regimes; what is proved holds
for the model and claims nothing about plaster.
"""

from __future__ import annotations

from optimizer.certificate.certify import Certificate, certify_bound

__all__ = ["Certificate", "certify_bound"]
