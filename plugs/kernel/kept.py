"""A kernel that is kept running from build to build, so that only the first waits for its import."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import TracebackType

from plugs.kernel.worker import KernelRun, start_kernel


class KeptKernel:
    """Lends one kernel again and again; use it in a ``with`` statement.

    Parameters
    ----------
    attend : callable
        Called now and then while somebody waits for the kernel; may raise to break the wait off.
    start : callable
        Starts a kernel.
    """

    def __init__(
        self, attend: Callable[[], None] = lambda: None, start: Callable[[], KernelRun] = start_kernel
    ) -> None:
        """Start nothing yet."""
        self._attend = attend
        self._start = start
        self._run: KernelRun | None = None

    def __enter__(self) -> KeptKernel:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the kernel."""
        if self._run is not None:
            self._run.close()

    @contextmanager
    def lend(self) -> Iterator[KernelRun]:
        """Lend the kernel, started anew if there is none or the last one has ended.

        Yields
        ------
        KernelRun
            Not to be closed.
        """
        if self._run is None or not self._run.is_running:
            if self._run is not None:
                self._run.close()
            self._run = self._start()
            self._run.attend = self._attend
        yield self._run
