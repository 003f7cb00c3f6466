"""Work counted instead of timed: the same on every machine, however slow or busy it is."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable
from cProfile import Profile


def calls_of(work: Callable[[], object]) -> int:
    """Return how many functions are called by something, those written in C too.

    A loop over all points or faces shows in it, since its body calls something; work on whole arrays does
    not. For that there is `peak_of`. What is imported or cached meanwhile counts too, so run it once before.
    """
    profile = Profile(subcalls=False, builtins=True)
    profile.runcall(work)
    return sum(entry.callcount for entry in profile.getstats())


def peak_of(work: Callable[[], object]) -> int:
    """Return how many bytes something holds at once at most, arrays included.

    Every point held against every other shows in it.
    """
    tracemalloc.start()
    try:
        work()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
