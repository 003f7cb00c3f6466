"""A twin of this process: what it makes comes back, whatever goes wrong there, and nothing of it stays."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable, Iterator

import pytest

from plugs.ground.twins import Twin, can_be_made, meanwhile

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="a process has a twin under Linux alone")


def is_there(pid: int) -> bool:
    """Return whether the system knows a process."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def asleep(_: object) -> list[None]:
    """Be at something for long."""
    time.sleep(600)
    return []


def test_what_it_makes_comes_back() -> None:
    """More than a pipe holds, of what is known here; the process is another one, and is gone afterwards."""
    known = [bytes(1000)] * 1000
    with Twin(lambda _: [(os.getpid(), known)]) as twin:
        assert twin.answer((0, [])) == (twin.pid, known)
        assert twin.pid != os.getpid()
    assert not is_there(twin.pid)


def test_one_thing_after_another_comes_and_goes() -> None:
    """More than both pipes hold is on its way at once, and neither waits before it has to."""
    known = bytes(1_000_000)

    def make(hear: Callable[[], object]) -> Iterator[object]:
        yield known
        yield known
        yield hear(), hear()
        yield 1 / 0

    with Twin(make) as twin:
        twin.tell((1, known))
        twin.tell((2, known))
        assert [twin.answer(None) for _ in range(4)] == [known, known, ((1, known), (2, known)), None]
    with Twin(asleep) as twin:
        twin.tell(known)
    assert not is_there(twin.pid)


@pytest.mark.parametrize(
    "make", [lambda _: 1 / 0, lambda _: os._exit(3), lambda _: [threading.Lock()], sys.exit]
)
def test_where_it_fails_that_is_told(
    make: Callable[[object], list[str]], capfd: pytest.CaptureFixture[str]
) -> None:
    """It raises, it dies, what it made does not travel; and nobody hears of it otherwise."""
    with Twin(make) as twin:
        assert twin.answer("otherwise") == "otherwise"
    assert not is_there(twin.pid)
    assert capfd.readouterr() == ("", "")


def test_it_says_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    """What it, or a library in it, tells goes nowhere; what is still to be told here is told once."""
    sys.stdout.write("once")
    with Twin(lambda _: [os.write(number, b"there") for number in (1, 2)]) as twin:
        assert [twin.answer(0), twin.answer(0)] == [5, 5]
    assert capfd.readouterr() == ("once", "")


def test_it_holds_no_file_of_this_process() -> None:
    """A pipe that is closed here is closed, though it was open when the copy was made."""
    back, there = os.pipe()
    with Twin(asleep):
        os.close(there)
        assert os.read(back, 1) == b""
    os.close(back)


def test_it_ends_when_nobody_waits() -> None:
    """Whatever it is doing."""
    with pytest.raises(KeyboardInterrupt), Twin(asleep) as twin:
        raise KeyboardInterrupt
    assert not is_there(twin.pid)


def test_there_is_none_beside_another_thread() -> None:
    """A lock that it holds would stay locked."""
    over = threading.Event()
    other = threading.Thread(target=over.wait)
    other.start()
    try:
        assert not can_be_made()
    finally:
        over.set()
        other.join()


@pytest.mark.parametrize("n_cores", [1, 2])
def test_something_is_made_meanwhile(n_cores: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """By a twin where there is a core for it; without, and what fails there, by this process."""
    monkeypatch.setattr("plugs.ground.twins.n_cores", lambda: n_cores)
    monkeypatch.setattr("plugs.ground.twins.can_be_made", lambda: True)  # other tests may have left threads
    with meanwhile(os.getpid) as made:
        assert (made() == os.getpid()) == (n_cores == 1)
    here = os.getpid()
    with meanwhile(lambda: 7 if os.getpid() == here else 1 // 0) as made:
        assert made() == 7
