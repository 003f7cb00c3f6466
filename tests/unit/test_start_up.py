"""What is not asked for is not loaded: libraries counted by name, on any machine the same."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.conftest import PART
from tests.demos import RECIPES

HEAVY = frozenset(
    ["cadquery", "OCP", "ezdxf", "reportlab", "PIL", "numpy.f2py", "numpy.testing", "scipy", "urllib.request"]
    + ["difflib"]
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


def test_layers_load_nothing_that_is_not_written(tmp_path: Path) -> None:
    """Foam and layers alone: nothing that lays cloth, makes moulds or draws templates; another writes DXF."""
    recipe, out = str(RECIPES / "sidecar_tail.py"), str(tmp_path / "out")
    asked = ["build", recipe, "--layers", "--only", "stl", "--only", "dxf", "--out", out]
    code = "from plugs.ground import twins; twins.n_cores = lambda: 2; "
    code += f"from plugs.cli import main; main({asked}); import sys; print('loaded:', *sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    found = {*run.stdout.partition("loaded:")[2].split()}
    rooms = ("plugs.cloth.zones", "plugs.mould.making", "plugs.subjects.template", "plugs.summary.laminate")
    assert "plugs.first_look" in found and not found & {"plugs.openings.template", "ezdxf", *rooms}


def test_fair_curves_load_one_file_of_scipy() -> None:
    """A recipe whose lines are faired from points costs nothing else of scipy."""
    recipe = str(RECIPES / "tank_cover.py")
    assert not loaded(
        f"from pathlib import Path; from plugs.work import opened; opened(Path({recipe!r}), {{}})"
    )


PRODUCT = """
import os, sys
from plugs.cli import main
main([])
assert "numpy" not in sys.modules
if len(sys.argv) > 1:
    os.sched_setaffinity(0, {int(sys.argv[1])})
import hashlib, numpy as np
one = np.random.default_rng(0).normal(size=(2, 401, 401)) * np.exp(1.0j)
print(hashlib.sha256((one[0] @ one[1]).tobytes()).hexdigest())
"""


@pytest.mark.skipif(not hasattr(os, "sched_setaffinity"), reason="this system keeps no process to one core")
def test_matrices_are_multiplied_alike_on_any_number_of_cores() -> None:
    """By one core and by all, to the last bit: cloth is laid flat by products of matrices."""
    one_core = str(min(os.sched_getaffinity(0)))
    found = {
        subprocess.run(
            [sys.executable, "-c", PRODUCT, *more], capture_output=True, text=True, check=True
        ).stdout
        for more in ([], [one_core])
    }
    assert len(found) == 1


def test_a_command_looks_seldom_for_what_is_out_of_use() -> None:
    """And not at its end, when all goes; a program that calls one keeps its own ways."""
    code = (
        "import gc, sys; from plugs.cli import main; main(['check', 'none.py']); before = gc.get_threshold();"
        "sys.argv = ['plugs', 'check', 'none.py']; main();"
        "print('told:', before == (700, 10, 10), gc.get_threshold()[0], gc.get_freeze_count() > 0)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert run.stdout.partition("told:")[2].split() == ["True", "50000", "True"], run.stderr


def test_cloth_is_laid_flat_by_one_file_of_scipy() -> None:
    """Solving for it costs none of scipy's rooms either, and comes to the same by scipy's own door."""
    code = """
import numpy as np
from plugs.cloth import flatten
rows, columns = np.array([0, 0, 1, 1, 2, 2]), np.array([0, 1, 0, 1, 2, 2])
values, right = np.array([4.0, 1.0j, -1.0j, 3.0, 1.0, 1.0]), np.array([1.0, 2.0j, 3.0])
here = flatten._solver(rows, columns, values, 3)(right)
assert np.allclose(here, [5.0 / 11.0, 9.0j / 11.0, 1.5]), here"""
    assert not loaded(code)
    again = (
        "flatten._compiled_factor = lambda: None\nagain = flatten._solver(rows, columns, values, 3)(right)"
    )
    assert "scipy.sparse" in loaded(f"{code}\n{again}\nassert np.array_equal(here, again)")


@pytest.mark.parametrize(("kind", "begun"), [("dxf", "DrawingRun"), ("step", "KernelRun"), ("stl", "")])
def test_others_load_what_they_work_by_before_a_build_is_loaded(kind: str, begun: str) -> None:
    """A second core is not idle meanwhile; nobody is begun for what is not asked, or stays after a fault."""
    code = f"""
import sys
from plugs.ground import twins, workers
twins.n_cores = lambda: 2
made, begin = [], workers.Worker.__init__
def noted(run, **words):
    made.append(run)
    print("begun:", type(run).__name__, "plugs.build" in sys.modules)
    begin(run, **words)
workers.Worker.__init__ = noted
from plugs.cli import main
print("status:", main(["build", "none.py", "--only", {kind!r}]), [run.is_running for run in made])
"""
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    rows = [f"begun: {begun} False", "status: 2 [False]"] if begun else ["status: 2 []"]
    assert run.stdout.splitlines() == rows
