"""What all tests share: settings of the property tests, and a loud word where no browser was asked."""

from __future__ import annotations

import gc

import pytest
from hypothesis import settings

settings.register_profile("house", derandomize=True, database=None, deadline=None, max_examples=60)
settings.load_profile("house")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say at the end that tests in a browser were wanted and did not run, and why."""
    skipped = [one for one in terminalreporter.stats.get("skipped", []) if "tests/browser/" in one.nodeid]
    if skipped:
        _, _, why = skipped[0].longrepr
        words = f"BROWSER TESTS DID NOT RUN: {why.removeprefix('Skipped: ')} ({len(skipped)} tests)"
        terminalreporter.write_line(words, red=True, bold=True)


def pytest_collection_finish() -> None:
    """Leave what all tests are collected in out of every later search for garbage."""
    gc.collect()
    gc.freeze()
