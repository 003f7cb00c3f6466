"""Two mates share work: what comes of it is what comes of it alone, whatever happens to the other."""

from __future__ import annotations

import mmap
import os
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from plugs.ground import twins
from plugs.ground.twins import Mate, Talker, both, can_be_made, each, has_mate

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="a process has a twin under Linux alone")

HERE = os.getpid()


def who(job: object) -> tuple[object, bool]:
    """Return a job, and whether it was done by the process that asked."""
    return job, os.getpid() == HERE


def alone(follow: Callable[[], object]) -> list[tuple[object, bool]]:
    """Return what jobs of this process give beside a mate that follows."""
    with Mate(follow):
        return [*each(who, "abcdef"), *each(who, "xyz")]


def waiting(marks: mmap.mmap) -> Callable[[int], tuple[object, bool]]:
    """Return a function whose two jobs wait for each other: neither process can do both."""

    def work(job: int) -> tuple[object, bool]:
        marks[job] = 1
        while not marks[1 - job]:
            time.sleep(0.001)
        return who(job)

    return work


def test_each_makes_a_part_and_both_know_all() -> None:
    """From both ends inward, in the order asked; the twin goes on with what this process has made."""
    marks = mmap.mmap(-1, 64)
    first = waiting(marks)

    def ask() -> list[tuple[object, bool]]:
        found = each(first, (0, 1))
        return [*found, *each(who, [str(found)] * 4), *both(lambda: who("here"), lambda: who("there"))]

    with Mate(ask):
        found = ask()
        assert has_mate()
    assert not has_mate()
    assert found[:2] == [(0, True), (1, False)]
    assert [job for job, _ in found[2:6]] == [str(found[:2])] * 4
    assert found[6:] == [("here", True), ("there", False)]


def test_without_a_mate_all_is_made_here() -> None:
    """In the same order."""
    assert each(who, "ab") == [("a", True), ("b", True)]
    assert both(lambda: 1, lambda: 2) == (1, 2)


@pytest.mark.parametrize(
    "follow",
    [
        lambda: None, lambda: 1 / 0, lambda: os._exit(3), lambda: each(who, "abc"),
        lambda: each(lambda _: threading.Lock(), "abcdef"), lambda: each(lambda _: 1 / 0, "abcdef"),
    ],
    ids=["nothing", "a fault", "its end", "something else", "what does not travel", "a fault in its part"],
)  # fmt: skip
def test_what_a_mate_does_not_give_is_made_here(follow: Callable[[], object]) -> None:
    """It ends, fails, goes another way, or makes what does not travel: all comes out as it would alone."""
    assert [job for job, _ in alone(follow)] == [*"abcdefxyz"]


def test_what_does_not_travel_is_made_by_both() -> None:
    """And they go on together."""

    def ask() -> tuple[object, object]:
        locks = each(lambda _: threading.Lock(), (0, 1))
        assert len(locks) == 2
        return both(lambda: who("here"), lambda: who("there"))

    with Mate(ask):
        assert ask() == (("here", True), ("there", False))


def test_a_fault_of_this_process_is_raised_and_nothing_is_mixed_up_afterwards() -> None:
    """Whoever catches it and goes on is given nothing that was made for something else."""

    def broken(job: int) -> int:
        if os.getpid() == HERE:
            raise ValueError(job)
        return -job

    def ask() -> list[int]:
        try:
            each(broken, (1, 2, 3))
        except ValueError as error:
            assert error.args == (1,)
        return each(int, (4, 5, 6))

    with Mate(ask):
        assert ask() == [4, 5, 6]


def test_the_last_part_ends_the_mate() -> None:
    """It is told nothing more, and does nothing more."""
    marks = mmap.mmap(-1, 2)

    def ask() -> list[tuple[object, bool]]:
        found = each(who, "abcd", is_last=True)
        marks[os.getpid() == HERE] = 1
        return found

    with Mate(ask) as mate:
        assert [job for job, _ in ask()] == [*"abcd"]
        mate._copy.wait()
    assert marks[:] == b"\0\1"


def test_it_is_ended_with_what_it_was_made_for() -> None:
    """Whatever it is doing: no process is left."""
    with pytest.raises(KeyboardInterrupt), Mate(lambda: time.sleep(600)) as mate:
        raise KeyboardInterrupt
    with pytest.raises(ProcessLookupError):
        os.kill(mate._copy.pid, 0)


def test_more_shares_than_there_is_room_for_are_made_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """On both sides from the same one on."""
    monkeypatch.setattr(twins, "_MOST_SHARED", 3)

    def ask() -> list[list[int]]:
        return [each(int, (i, i + 1)) for i in range(6)]

    with Mate(ask):
        assert ask() == [[i, i + 1] for i in range(6)]


def test_threads_that_only_talk_are_no_hindrance(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """To a mate; others are, those of libraries too, which are no threads of Python."""
    over = threading.Event()
    monkeypatch.setattr(twins, "_THREADS", tmp_path)
    for name in ("1", "2"):  # as the system tells of this one and another
        (tmp_path / name).mkdir()
    assert not can_be_made(beside_talkers=True)
    for kind, does_hinder in ((Talker, False), (threading.Thread, True)):
        other = kind(target=over.wait)
        other.start()
        assert can_be_made(beside_talkers=True) != does_hinder
        assert not can_be_made()
        over.set()
        other.join()
        over.clear()
