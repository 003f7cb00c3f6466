"""Numbers written many at once are those that the interpreter writes one by one."""

from __future__ import annotations

import numpy as np
import pytest

from plugs.ground.figures import DECIMAL
from plugs.tables.digits import numbers_as_text

EDGES = (0.0, -1.0, 0.5, -0.05, 10.0, 100.0, 9999.0, 1e4, -1e4, 12300.045, 99999999.0, 1e8, 123456789.5)


@pytest.mark.parametrize(("decimals", "largest"), [(4, 12), (6, 10), (12, 5)])
def test_numbers_of_any_size_are_written_as_the_interpreter_writes_them(decimals: int, largest: int) -> None:
    """From the last decimal to more digits than a drawing has, whole ones and round ones among them."""
    chance = np.random.default_rng(decimals)
    values = chance.uniform(-1.0, 1.0, 4000) * 10.0 ** chance.uniform(-decimals, largest, 4000)
    values = np.concatenate((values, EDGES))
    values = np.concatenate([np.round(values, min(n, decimals)) + 0.0 for n in (0, 1, 2, 3, 4, 6, 12)])
    plain = [DECIMAL % value for value in values.tolist()]
    assert numbers_as_text(values, decimals) == plain
    whole = [f"{text}.0" if text.lstrip("-").isdigit() else text for text in plain]
    assert numbers_as_text(values, decimals, b".0") == whole


def test_no_number_is_cut_short() -> None:
    """One that has no room is refused: it is no length of anything."""
    with pytest.raises(AssertionError, match="too long"):
        numbers_as_text(np.array([1.2345678901234e20]), 4)


def test_no_numbers_are_no_text() -> None:
    """A drawing may have no labels."""
    assert numbers_as_text(np.zeros(0), 4) == []
