"""Many numbers as text at once."""

import numpy as np
import pytest

from plugs.ground.figures import DECIMAL, rounded


@pytest.mark.parametrize("digits", [3, 4, 6])
def test_it_rounds_as_text_rounds(digits):
    """Also where the last bit of a product would fall on the wrong side of a tie."""
    chance = np.random.default_rng(digits)
    ties = (chance.integers(-(10**7), 10**7, 2000) + 0.5) / 10.0**digits  # where the last bit decides
    beside = np.concatenate((np.nextafter(ties, -np.inf), ties, np.nextafter(ties, np.inf)))
    values = np.concatenate((beside, chance.uniform(-1e4, 1e4, 2000), [0.0, -0.0, -(0.1 ** (digits + 3))]))
    asked = [f"{value:.{digits}f}".rstrip("0").rstrip(".") for value in values.tolist()]
    asked = ["0" if text == "-0" else text for text in asked]
    assert [DECIMAL % value for value in rounded(values, digits).tolist()] == asked
