"""What is typed of a trial beyond all measure is told, not stumbled over."""

from __future__ import annotations

import pytest

from optimizer.errors import FileFaults
from ui.trial_typing import typed_trial


@pytest.mark.parametrize(
    "readings",
    [
        pytest.param(["9" * 5000 + "=1"], id="a name of thousands of characters"),
        pytest.param([f"remark{k}=1" for k in range(5000)], id="thousands of names"),
    ],
)
def test_names_beyond_measure_are_a_fault(readings):
    with pytest.raises(FileFaults) as caught:
        typed_trial(readings, None, None)
    assert "columns with names of at most" in str(caught.value)
    assert len(str(caught.value)) < 1000
