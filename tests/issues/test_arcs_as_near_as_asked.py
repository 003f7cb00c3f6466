"""Arcs of drawings keep to the plug's own chord tolerance, finer or coarser than the default."""

from __future__ import annotations

import math

import numpy as np
import pytest

from plugs.drafting.arcs import arcs_within, fit_arcs


def ellipse(count: int) -> np.ndarray:
    """Return a ring that no arc follows exactly."""
    angle = 2.0 * math.pi * np.arange(count) / count
    return np.column_stack([200.0 * np.cos(angle), 120.0 * np.sin(angle)])


def away(points: np.ndarray, bulges: np.ndarray) -> float:
    """Return how far the middles and quarters of the arcs lie from the ellipse, by its nearest point."""
    z = points[:, 0] + 1j * points[:, 1]
    chord = np.roll(z, -1) - z
    worst = 0.0
    for share in (0.25, 0.5, 0.75):
        half = 2.0 * np.arctan(bulges)
        # a point of the arc by its share of the angle, from the inscribed angle at its beginning
        turn = (
            np.exp(1j * (share - 1.0) * half) * share * np.sinc(share * half / np.pi) / np.sinc(half / np.pi)
        )
        p = z + chord * turn
        t = np.arctan2(p.imag / 120.0, p.real / 200.0)
        for _ in range(20):
            dx, dy = 200.0 * np.cos(t) - p.real, 120.0 * np.sin(t) - p.imag
            slope = -200.0 * np.sin(t) * dx + 120.0 * np.cos(t) * dy
            t = t - slope / (200.0**2 * np.sin(t) ** 2 + 120.0**2 * np.cos(t) ** 2)
        worst = max(worst, float(np.hypot(200.0 * np.cos(t) - p.real, 120.0 * np.sin(t) - p.imag).max()))
    return worst


@pytest.mark.parametrize("chord", [0.002, 0.005, 0.02, 0.1])
def test_arcs_keep_what_is_asked(chord: float) -> None:
    """A ring of that chord error comes back as arcs within it; a coarser wish gives fewer."""
    ring = ellipse(math.ceil(math.pi * math.sqrt(200.0**2 / 120.0 / (2.0 * chord)) * 2.0))
    with arcs_within(chord):
        points, bulges = fit_arcs(ring)
    assert away(points, bulges) < 1.5 * chord
    assert np.count_nonzero(bulges) > 0.8 * len(bulges)


def test_coarser_is_shorter() -> None:
    """Of one dense ring, a coarser tolerance leaves fewer arcs; afterwards the default stands again."""
    counts = []
    for chord in (0.002, 0.02, 0.2):
        with arcs_within(chord):
            counts.append(len(fit_arcs(ellipse(4000))[0]))
    assert counts[0] > counts[1] > counts[2]
    assert len(fit_arcs(ellipse(4000))[0]) == counts[1]
