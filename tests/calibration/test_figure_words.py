"""What fitted figures are said to be worth: a factor on a blend of half and half, by hand."""

from __future__ import annotations

import pytest

from optimizer.calibration.record import Learned
from optimizer.calibration.words import size_words


@pytest.mark.parametrize(
    ("name", "center", "before", "after"),
    [
        # 4 x 1/2 x 1/2 of gamma on strength: e^-0.1 and e^-0.2
        ("gamma", -0.2, "90 % ± 9 %", "82 % ± 4 %"),
        ("gamma_damp", -0.2, "90 % ± 9 %", "82 % ± 4 %"),
        # a quarter of it on time: e^-0.025 and e^-0.05
        ("gamma_time", -0.2, "98 % ± 2 %", "95 % ± 1 %"),
    ],
)
def test_what_mixing_does_is_said_of_half_and_half(catalogue, name, center, before, after):
    one = Learned(name, False, -0.1, 0.1, center, 0.05, 3)
    assert size_words(one, catalogue) == (before, after)


@pytest.mark.parametrize(("share", "said"), [(0.0949, "9.5 % ± 1.0 %"), (0.0951, "10 % ± 1 %")])
def test_a_share_of_a_tenth_and_more_is_said_in_whole_percent(catalogue, share, said):
    one = Learned("flame_share", False, share, 0.01, share, 0.01, 3)
    assert size_words(one, catalogue)[0] == said
