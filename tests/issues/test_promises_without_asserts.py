"""Fixed: under ``python -OO`` a build whose volumes differ by a factor of two was written as good."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from tests.cli.test_commands import ROOT

PROGRAM = """\
import sys
from dataclasses import replace
from plugs.cli import main
import plugs.foam.layers, plugs.body.body

def twice(record):
    return replace(record, volume_mm3=2.0 * record.volume_mm3)

words = ["build", "part.py", "--only", "csv"]
assert False, "asserts are gone"
for room, name, spoil in (
    (plugs.body.body, "integrate", twice),
    (plugs.foam.layers, "_layers_of", lambda layers: [twice(layer) for layer in layers]),
):
    right = getattr(room, name)
    setattr(room, name, lambda *given: spoil(right(*given)))
    try:
        print("built:", main(words))
    except AssertionError as broken:
        print("stopped:", broken)
    setattr(room, name, right)
sys.exit(main(words))
"""


def test_volumes_that_differ_stop_a_build_without_asserts(shop: Path) -> None:
    """Sections against mesh, layers against body: each made to differ, each seen."""
    (shop / "wrong.py").write_text(PROGRAM, encoding="utf-8")
    run = subprocess.run(
        [sys.executable, "-OO", "wrong.py"], cwd=shop, env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    said = [line for line in run.stdout.splitlines() if line.startswith(("stopped", "built"))]
    assert [line.partition(":")[0] for line in said] == ["stopped"] * 2, said
    assert "disagree" in said[0]
    assert "add up" in said[1]
