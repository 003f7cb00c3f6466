"""What is not asked for is not loaded: libraries counted by name, on any machine the same."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.cli.conftest import PART
from tests.demos import RECIPES

HEAVY = frozenset(
    ["cadquery", "OCP", "ezdxf", "reportlab", "PIL", "numpy.f2py", "numpy.testing"]
    + [f"scipy.{room}" for room in ("interpolate", "linalg", "optimize", "sparse", "spatial", "special")]
)
"""Libraries, or rooms of them, that take longer to load than a small plug to be made, and what they load."""


def loaded(program: str) -> set[str]:
    """Return which of the heavy libraries a program loads."""
    code = f"{program}; import sys; print('loaded:', *sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return HEAVY & {*run.stdout.partition("loaded:")[2].split()}


def test_a_check_loads_no_library_but_of_arrays_shapes_and_solids(tmp_path: Path) -> None:
    """A plug of straight lines, checked, and its foam written: nothing of scipy, nothing that draws."""
    recipe, out = tmp_path / "part.py", tmp_path / "out"
    recipe.write_text(PART, encoding="utf-8")
    check, build = ["check", str(recipe)], ["build", str(recipe), "--only", "stl", "--out", str(out)]
    assert not loaded(f"from plugs.cli import main; main({check}); main({build})")
    assert (out / "solid" / "foam.stl").is_file()


def test_fair_curves_load_one_file_of_scipy() -> None:
    """A recipe whose lines are faired from points costs none of scipy's rooms."""
    recipe = str(RECIPES / "tank_cover.py")
    assert not loaded(
        f"from pathlib import Path; from plugs.work import opened; opened(Path({recipe!r}), {{}})"
    )
