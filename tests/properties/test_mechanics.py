"""How lightened gypsums lose strength."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from optimizer.properties.strength_laws import LIGHT_EXPONENT

LIGHTENED = pd.read_csv(Path(__file__).parents[1] / "reference" / "lightened_gypsum.csv", comment="#")


@pytest.mark.parametrize(
    ("rows", "strength", "exponent"),
    [
        pytest.param(slice(None), "compressive", LIGHT_EXPONENT, id="AMSE-2017-7092521-table-1-compressive"),
        pytest.param(slice(None), "flexural", 2.20, id="AMSE-2017-7092521-table-1-flexural"),
        pytest.param([5, 6, 11], "compressive", 3.31, id="AMSE-2017-7092521-table-1-water-alone"),
    ],
)
def test_lightened_gypsums(rows, strength, exponent):
    """Measured strengths of 39 gypsums; the exponent was fitted to them, so this checks the code."""
    density, measured = LIGHTENED["density"].to_numpy()[rows], LIGHTENED[strength].to_numpy()[rows]
    slope, _ = np.polyfit(np.log(density), np.log(measured), 1)
    assert slope == pytest.approx(exponent, abs=0.05)


def test_lightened_gypsums_scatter():
    """A density law of exponent 2.86 leaves a root-mean-square error of a third: a loose band only."""
    log_density, log_strength = np.log(LIGHTENED["density"]), np.log(LIGHTENED["compressive"])
    centered = log_strength - LIGHT_EXPONENT * log_density
    error = np.exp(centered.mean() - centered) - 1.0
    assert np.sqrt((error**2).mean()) == pytest.approx(0.32, abs=0.02)
