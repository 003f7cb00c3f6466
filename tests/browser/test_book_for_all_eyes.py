"""The book of a small box that is laid up, read by axe-core: for those who see little, or use no mouse.

axe-core (MPL 2.0) tests by WCAG 2.1 A and AA and its own good practice; it comes in the package
axe-core-python, from the registry of Python.
"""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import pytest

from tests.books import book_of
from tests.browser.chromium import NAMES, Browser, found
from tests.issues.test_book_for_the_bench import BOX

pytestmark = pytest.mark.skipif(found() is None, reason=f"none of {', '.join(NAMES)} on this machine")

TOLD = """axe.run(HOW).then((found) => [found.passes.length,
  found.violations.map((one) => [one.id, one.nodes.map((node) => node.html.slice(0, 200))])])"""


def test_axe_finds_nothing(tmp_path: Path) -> None:
    """On phone, tablet and desktop, light and dark, everything unfolded, nothing and everything ticked."""
    recipe = tmp_path / "box.py"
    recipe.write_text(BOX, encoding="utf-8")
    path = tmp_path / "book.html"
    path.write_text(book_of(recipe).page, encoding="utf-8")
    axe = files("axe_core_python").joinpath("axe.min.js").read_text(encoding="utf-8")
    with Browser(tmp_path / "profile") as page:
        page.go(path.as_uri())
        page.run("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        page.run("document.querySelectorAll('.sheet svg > :not(title)').forEach((one) => one.remove())")
        page.run(f"{axe}; 0")
        for width, height in ((390, 844), (820, 1180), (1440, 900)):
            page.size(width, height, is_phone=width < 1000)
            for theme in ("light", "dark"):
                page.call(
                    "Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": theme}]
                )
                how: dict[str, object] = {"resultTypes": ["violations"]}
                if theme == "dark":  # all else is as it was in the light
                    how["runOnly"] = ["color-contrast"]
                passed, faults = page.run(TOLD.replace("HOW", json.dumps(how)))
                assert passed > (20 if theme == "light" else 0)
                assert faults == [], (width, theme)
                page.run("document.querySelectorAll('input[data-step]').forEach((one) => one.click())")
