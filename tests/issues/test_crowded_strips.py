"""Fixed: pieces of measured panels meet an end's blend one by one, and each place parted all strips there.

Five measured sections gave some 2,300 faces, and ten times the work of all else; a test of the recipe holds
the kernel's volume against the sections'.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from plugs.kernel.spline_strips import _breaks, fit_strips
from plugs.work import opened
from tests.cli.test_commands import ROOT


def test_measured_sections_give_few_strips() -> None:
    """Four bays and two blends: no more spans than a dozen, though fifty places are crowded at the ends."""
    loft = opened(Path(ROOT / "recipes" / "tank_cover.py"), {}).lines.foam
    assert len(loft.breaks) > 40
    assert len(_breaks(loft)) == len(loft.breaks)  # where pieces meet smoothly, nothing turns over
    spans = fit_strips(loft).spans
    assert len(spans) <= 12
    stations = loft.table.x[1:-1]
    ends = np.array([span.knots[0] for span in spans])
    assert all(np.abs(ends - x).min() < 0.1 for x in stations.tolist())
