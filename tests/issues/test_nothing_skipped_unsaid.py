"""Fixed: libraries that the tests require were skipped where they were missing, a browser without a word."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

from tests.cli.test_commands import ROOT


def test_no_library_may_be_missing() -> None:
    """All that the tests import is in the extra that installs them, so that none is passed over."""
    word = "import" + "orskip"
    assert not [path.name for path in (ROOT / "tests").rglob("*.py") if word in path.read_text("utf-8")]


def test_every_skip_has_its_reason() -> None:
    """Only what a system lacks is skipped."""
    for path in (ROOT / "tests").rglob("*.py"):
        for mark in re.findall(r"mark\.skipif\((?:[^()]|\([^()]*\))*\)", path.read_text("utf-8")):
            assert "reason=" in mark, path


def test_a_missing_browser_is_told_loudly(tmp_path: Path) -> None:
    """Where none is found, the last line before the count says so."""
    words = ("-m", "pytest", "-n", "0", "-q", "tests/browser")
    run = subprocess.run(
        [sys.executable, *words], cwd=ROOT, env={**os.environ, "PATH": str(tmp_path)},
        capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout + run.stderr
    assert re.search(r"^BROWSER TESTS DID NOT RUN: none of chromium, .* \(\d\d tests\)$", run.stdout, re.M)


def test_hosted_checks_run_what_the_readme_says() -> None:
    """Linux runs all of CI, the other systems the README's own test command."""
    flow = (ROOT / ".github" / "workflows" / "ci.yml").read_text(encoding="utf-8")
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (command,) = re.findall(r"^    (python -m pip install .*pytest)$", readme, re.M)
    assert f"run: {command}\n" in flow
    assert "run: bash .ci/run\n" in flow
    assert "[macos-latest, windows-latest]" in flow
