"""What all tests share: settings, files that one worker takes, a loud word where no browser was asked."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import settings

settings.register_profile("house", derandomize=True, database=None, deadline=None, max_examples=60)
settings.load_profile("house")

DEMOS_TOGETHER = tuple(
    f"tests/{name}.py"
    for name in (
        "recipes/test_demos",
        "recipes/test_lamination",
        "recipes/test_stack_from_sheets",
        "recipes/test_cut_by_wire",
        "browser/test_book_in_browser",
        "issues/test_boards_drawn",
        "issues/test_book_for_the_bench",
        "issues/test_paper_by_group",
        "issues/test_templates_say_what_is_so",
        "invariants/test_random_laminations",
        "reference/test_compared_with_the_plug",
        "reference/test_outlines_against_kernel",
        "unit/test_book",
        "unit/test_book_scene",
        "unit/test_fit_list",
        "unit/test_pack",
        "unit/test_sanding",
    )
)
"""Files that look at the demos at their defaults: one worker takes them, and works out each demo once.

They come first, so that no worker is left alone with them at the end.
"""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files that go together first, in their order; all else stays as it is."""
    place = {name: k for k, name in enumerate(DEMOS_TOGETHER)}
    items.sort(key=lambda item: place.get(item.nodeid.partition("::")[0], len(place)))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Give each file to a worker whole, and the files that go together to one."""
    from xdist.scheduler import LoadFileScheduling

    class ByFile(LoadFileScheduling):
        """Sends out one file after another."""

        def _split_scope(self, nodeid: str) -> str:
            """Return the file of a test, or the first of those that it goes with."""
            name = super()._split_scope(nodeid)
            return DEMOS_TOGETHER[0] if name in DEMOS_TOGETHER else name

    return ByFile(config, log) if config.getvalue("dist") == "loadfile" else None


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Iterator[None]:
    """Search for no garbage while tests are collected, and never among what they are collected in."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.collect()
        gc.freeze()
        gc.enable()


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say at the end that tests in a browser were wanted and did not run, and why."""
    skipped = [one for one in terminalreporter.stats.get("skipped", []) if "tests/browser/" in one.nodeid]
    if skipped:
        _, _, why = skipped[0].longrepr
        words = f"BROWSER TESTS DID NOT RUN: {why.removeprefix('Skipped: ')} ({len(skipped)} tests)"
        terminalreporter.write_line(words, red=True, bold=True)
