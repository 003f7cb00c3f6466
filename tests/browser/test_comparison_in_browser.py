"""The page of a comparison in a real browser: no complaint, no request, and the plug turned in colours."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from plugs.book.compared import comparison_files
from plugs.comparing.comparison import Ask, compare
from plugs.comparing.reading import POINTS, Measured
from plugs.work import work_out
from tests.browser.chromium import NAMES, Browser, found
from tests.unit.test_corrected import wedge

pytestmark = pytest.mark.skipif(found() is None, reason=f"none of {', '.join(NAMES)} on this machine")


def test_the_page_turns_the_plug(tmp_path: Path) -> None:
    """Its program gets to its end, and nothing is asked of any network."""
    points = np.array([[x, y, 121.0] for x in (100.0, 300.0, 500.0) for y in (-80.0, 0.0, 80.0)])
    measured = Measured(name="p.csv", kind=POINTS, points=points, labels=(), gaps=(), notes=())
    ask = Ask(against="finished", how="probed", locked=(), tolerance=0.5)
    page = comparison_files(compare(work_out(wedge()), measured, ask))["comparison.html"]
    (tmp_path / "comparison.html").write_bytes(page)
    with Browser(tmp_path / "profile") as browser:
        browser.size(1000, 900)
        browser.go((tmp_path / "comparison.html").as_uri())
        assert browser.run("document.getElementById('viewer').dataset.ready") == "yes"
        assert browser.complaints() == []
        assert [one for one in browser.requests() if not one.startswith(("file:", "data:"))] == []
