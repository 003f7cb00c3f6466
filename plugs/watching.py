"""Build again whenever the recipe, or a file that it reads, is saved.

The quick files come first, then the book, the slower ones after, and STEP last; a save in the middle breaks
off what is under way. While the recipe is broken the last good folder stays.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import signal
import stat
import sys
import sysconfig
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import replace
from functools import cache
from hashlib import blake2b
from pathlib import Path
from types import FrameType
from typing import Any, Final, Protocol

from plugs.files.folder import beginnings
from plugs.files.kinds import QUICK
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.kernel.worker import KeptKernel, KernelRun

BOOK: Final = "html"
"""The kind of file that is looked at next, and that can be read before there are pictures and paper."""

SLOW: Final = "step"
"""The kind of file that takes as long as all others together."""

PERIOD_S: Final = 0.01
"""Time between two looks at the files."""

_COARSE_TICK_S: Final = 2.0
"""The coarsest clock of a file system: that of FAT (from memory)."""

_LARGEST_READ: Final = 4 << 20  # bytes: of a larger file only size and time are looked at
_REPLACED_LOOKS: Final = 40  # looks at a file that is gone, before it is told: editors replace files
_PACKAGES: Final = ("site-packages", "dist-packages")  # names of folders of installed packages
_PASSING: Final = ("/proc/", "/sys/", "/dev/")
_ATTEND_S: Final = 0.05
"""Time between two looks at the files while a build is under way."""
_COMPUTING: Final = frozenset(
    (
        "lines", "mesh", "skin", "recesses", "edges", "body", "measure", "foam", "nesting", "templates",
        "wire", "routing", "sanding", "laminate", "hard_points", "drape", "cloth", "drafting", "subjects",
        "openings", "mould", "pictures",
    )
)  # fmt: skip
"""Rooms that compute, and hold no process, file or folder: only there is a build broken off."""
_WHOLE: Final = frozenset(("_find_and_load", "__exit__", "__del__"))
"""Functions that come to their end: the next build would meet a module half loaded."""
_OURS: Final = str(Path(__file__).resolve().parent) + os.sep
_ASKED: Final = tuple(f"{os.sep}{name}{os.sep}" for name in ("numpy", "scipy", "shapely"))
"""Libraries that compute for ours: all else may hold what nobody has been given yet, or hears of nothing."""

Say = Callable[[str], None]
OpenKernel = Callable[[], AbstractContextManager[KernelRun]]
Mark = tuple[int, int, int]


class Make(Protocol):
    """What builds a recipe, such as `plugs.build.build`."""

    def __call__(
        self,
        path: Path,
        overrides: Mapping[str, object],
        *,
        out: Path,
        kinds: Sequence[str],
        say: Say,
        open_kernel: OpenKernel,
    ) -> object:
        """Build, or raise a `PlugError` and leave the folder as it was."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """How a round went.

    Attributes
    ----------
    built : object
        What the maker returned; None if the recipe was refused.
    fault : PlugError or None
        Why it was refused; the folder is the last good one.
    kinds : tuple of str
        Which were asked for in this round.
    is_last : bool
        Whether nothing more comes until something is saved.
    files : tuple of Path
        That are watched now.
    """

    built: object
    fault: PlugError | None
    kinds: tuple[str, ...]
    is_last: bool
    files: tuple[Path, ...]

    @property
    def is_over(self) -> bool:
        """Whether nothing better comes of what was saved: all is built, or refused."""
        return self.is_last or self.fault is not None


class _Superseded(KeyboardInterrupt):
    """Something was saved, or an end was asked for, while a build was under way: nobody wants it any more."""


def look_beside(out: Path) -> Path:
    """Return the folder for what is there before all is: what is read or written in it starts no round.

    Parameters
    ----------
    out : Path
        The folder of the whole build.

    Returns
    -------
    Path
        Beside it.
    """
    return out.parent / f"{out.resolve().name}-first-look"


def is_quick(kinds: Sequence[str]) -> bool:
    """Return whether kinds of file take no time.

    Parameters
    ----------
    kinds : sequence of str

    Returns
    -------
    bool
    """
    return {*kinds} <= {*QUICK}


def is_looked_at(kinds: Sequence[str]) -> bool:
    """Return whether kinds of file are those of a first look, with the book or without.

    Parameters
    ----------
    kinds : sequence of str

    Returns
    -------
    bool
    """
    return {*kinds} <= {*QUICK, BOOK}


def rounds_of(kinds: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """Return the kinds of file by round: the quick ones, these with the book, all but the slow one, all.

    Returns
    -------
    tuple of tuple of str
        No two rounds are alike.
    """
    quick = tuple(kind for kind in kinds if kind in QUICK)
    shown = tuple(kind for kind in kinds if kind in (*QUICK, BOOK))
    most = tuple(kind for kind in kinds if kind != SLOW)
    return tuple(dict.fromkeys(one for one in (quick, shown, most, tuple(kinds)) if one))


def watch(
    recipe: Path,
    changes: Mapping[str, object],
    *,
    make: Make,
    out: Path,
    kinds: Sequence[str],
    say: Say,
    told: Callable[[Outcome], None],
    stop: threading.Event,
    beside: Sequence[Path] = (),
    period: float = PERIOD_S,
) -> None:
    """Build a recipe, and build it again after every save, until told to stop.

    Whatever a build opens for reading is watched, the recipe's own modules included, installed ones not.
    It runs in the caller's thread, and raises what `make` raises but for refused recipes.

    Parameters
    ----------
    recipe : Path
    changes : mapping of str to object
    make : callable
        Builds.
    out : Path
        The folder that it writes.
    kinds : sequence of str
        Of file.
    say : callable
        Told what is being done.
    told : callable
        Told how each round went.
    stop : threading.Event
        Ends the watch when it is set, in the middle of a build too.
    beside : sequence of Path
        More files that matter, there or not.
    period : float, s
        Between two looks.
    """
    files = _Files(recipe, beside, out)

    def attend() -> None:
        if stop.is_set() or files.have_changed():
            raise _Superseded

    def say_if_wanted(stage: str) -> None:
        attend()
        say(stage)

    words: dict[str, Any] = {"out": out, "say": say_if_wanted}
    with KeptKernel(attend) as kernel, files:

        def one_round(chosen: tuple[str, ...]) -> object:
            with _attended(attend):
                return make(recipe, changes, **words, kinds=chosen, open_kernel=kernel.lend)

        _go_round(one_round, rounds_of(kinds), files, stop, told, period)


@contextmanager
def _attended(attend: Callable[[], None]) -> Iterator[None]:
    """Attend every so often meanwhile while something is computed, if this thread hears of signals."""
    if sys.platform == "win32" or threading.current_thread() is not threading.main_thread():
        yield
        return

    def look(_: int, frame: FrameType | None) -> None:
        if not _is_computing(frame):
            return
        try:
            attend()
        except _Superseded:
            signal.setitimer(signal.ITIMER_REAL, 0.0)  # once is enough: the rest is put away in peace
            raise

    before = signal.signal(signal.SIGALRM, look)
    signal.setitimer(signal.ITIMER_REAL, _ATTEND_S, _ATTEND_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


def _is_computing(frame: FrameType | None) -> bool:
    """Return whether the innermost code of ours computes, for nobody who must come to an end."""
    room = ""
    while frame is not None:
        path = frame.f_code.co_filename
        if frame.f_code.co_name in _WHOLE:
            return False
        if not room and path.startswith(_OURS):
            room = path[len(_OURS) :].partition(os.sep)[0]
        elif not room and not any(name in path for name in _ASKED):
            return False
        frame = frame.f_back
    return room in _COMPUTING


def _go_round(
    one_round: Callable[[tuple[str, ...]], object],
    rounds: Sequence[tuple[str, ...]],
    files: _Files,
    stop: threading.Event,
    told: Callable[[Outcome], None],
    period: float,
) -> None:
    """Build round by round, begin anew whenever something is saved, and rest when all is built."""
    due = 0
    while not stop.is_set():
        if due == len(rounds):
            due = 0 if _waited(files, stop, period) else due
            continue
        found = _tried(one_round, rounds[due], files)
        if found is None:
            _settled(files, stop, period)
            due = 0
            continue
        due = len(rounds) if found.fault is not None else due + 1
        told(replace(found, is_last=due == len(rounds)))
        if files.have_changed():
            due = 0


def _tried(
    one_round: Callable[[tuple[str, ...]], object], kinds: tuple[str, ...], files: _Files
) -> Outcome | None:
    """Return how a round went; None if something was saved before it came to its end."""
    fault: PlugError | None = None
    built: object = None
    files.begin()
    try:
        built = one_round(kinds)
    except PlugError as error:
        if files.have_changed(thorough=True):
            return None  # a file half written, most likely: nobody wants to hear of it
        fault = error
    except _Superseded:
        return None
    finally:
        files.end()
    return Outcome(built=built, fault=fault, kinds=kinds, is_last=False, files=files.names())


def _waited(files: _Files, stop: threading.Event, period: float) -> bool:
    """Wait until something is saved, and return whether it was; not, if an end was asked for."""
    looks, last = 0, int(_COARSE_TICK_S / period) + 1
    while not stop.wait(period):
        # read again, the files tell what was saved twice within one tick of the file system's clock
        if files.have_changed(thorough=looks in (0, last)):
            _settled(files, stop, period)
            return True
        looks += 1
    return False


def _settled(files: _Files, stop: threading.Event, period: float) -> None:
    """Wait until the files stand still between two looks, and the recipe is not just being replaced."""
    before = files.present()
    for _ in range(_REPLACED_LOOKS):
        if stop.wait(period / 2.0):
            return
        now = files.present()
        if now == before and now[0] is not None:
            return
        before = now


class _Files:
    """The files that a build has read, each as it was when it was opened; use it in a ``with`` statement."""

    def __init__(self, recipe: Path, beside: Sequence[Path], out: Path) -> None:
        """Know of the recipe only."""
        self._named = [os.path.realpath(path) for path in (recipe, *beside)]
        written = [begin for folder in (out, look_beside(out)) for begin in beginnings(folder)]
        self._ignored = (*_installed(), *written, *_PASSING)
        self._marks: dict[str, Mark | None] = {}
        self._sums: dict[str, bytes] = {}
        self._kept = set(sys.modules)
        self._writes_bytecode = not sys.dont_write_bytecode
        self._thread = 0

    def __enter__(self) -> _Files:
        """Leave no compiled modules beside the recipe: they are known by whole seconds only."""
        sys.dont_write_bytecode = True
        return self

    def __exit__(self, *_: object) -> None:
        """Stop listening."""
        self.end()
        sys.dont_write_bytecode = not self._writes_bytecode

    def begin(self) -> None:
        """Forget what was read, and note what is opened in this thread from now on."""
        new = {name: module for name, module in sys.modules.items() if name not in self._kept}
        local = {name for name, module in new.items() if self._is_local(module)}
        self._kept |= new.keys() - local
        for name in local:
            del sys.modules[name]
        importlib.invalidate_caches()
        gone = [path for path in self._marks if _mark(path) is None]
        self._marks.clear()
        self._sums.clear()
        for path in (*self._named, *gone):  # what is gone may come back, and nobody opens it until then
            self._note(path)
        self._thread = threading.get_ident()
        _hear()
        _HEARING.append(self)

    def end(self) -> None:
        """Note no more."""
        if self in _HEARING:
            _HEARING.remove(self)

    def opened(self, path: str) -> None:
        """Note a file that is about to be read, if it is one to watch."""
        if threading.get_ident() != self._thread or path in sys.path:
            return
        if path.endswith(".pyc"):
            try:
                path = importlib.util.source_from_cache(path)
            except ValueError:
                return
        real = os.path.realpath(path)
        if not real.startswith(self._ignored):
            self._thread = 0  # what is read here is not what the build reads
            self._note(real)
            self._thread = threading.get_ident()

    def names(self) -> tuple[Path, ...]:
        """Return the files that are watched."""
        return tuple(Path(path) for path in sorted(self._marks))

    def present(self) -> list[Mark | None]:
        """Return how the files are now, the recipe first."""
        return [_mark(path) for path in self._marks]

    def have_changed(self, *, thorough: bool = False) -> bool:
        """Return whether any file is not as it was opened; read again if that is asked for."""
        if any(_mark(path) != mark for path, mark in self._marks.items()):
            return True
        return thorough and any(_sum(path) != known for path, known in self._sums.items())

    def _note(self, path: str) -> None:
        """Keep how a file is before it is read for the first time."""
        if path in self._marks:
            return
        mark = _mark(path)
        self._marks[path] = mark
        if mark is not None and mark[1] <= _LARGEST_READ:
            self._sums[path] = _sum(path)

    def _is_local(self, module: object) -> bool:
        """Return whether a module's file is one to watch."""
        file = getattr(module, "__file__", None)
        return isinstance(file, str) and not os.path.realpath(file).startswith(self._ignored)


_HEARING: Final[list[_Files]] = []
"""Who wants to know what is opened."""


@cache
def _hear() -> None:
    """Have Python tell what it opens; it cannot be asked to stop."""
    sys.addaudithook(_heard)


def _heard(event: str, arguments: tuple[Any, ...]) -> None:
    """Pass on the name of a file that is opened for reading."""
    if event != "open" or not _HEARING:
        return
    path, mode, flags = arguments
    if isinstance(path, bytes):
        path = os.fsdecode(path)
    if not isinstance(path, str):
        return
    is_written = (
        any(c in mode for c in "wax+") if isinstance(mode, str) else flags & (os.O_WRONLY | os.O_RDWR)
    )
    if not is_written:
        for one in tuple(_HEARING):
            one.opened(path)


@cache
def _installed() -> tuple[str, ...]:
    """Return the folders of Python, of installed packages and of this one, which are not watched.

    A user's own packages, and those that a virtual environment shares, lie elsewhere than its own.
    """
    names = ("stdlib", "platstdlib", "purelib", "platlib")
    folders = [os.path.realpath(sysconfig.get_path(name)) for name in names]
    folders += [os.path.realpath(path) for path in sys.path if Path(path).name in _PACKAGES]
    folders.append(str(Path(__file__).resolve().parent))
    return tuple(folder + os.sep for folder in folders)


def _mark(path: str) -> Mark | None:
    """Return what tells a file's state: time of its last change, size, number; None if there is no file."""
    try:
        found = os.stat(path)  # noqa: PTH116 - called for every file at every look
    except (OSError, ValueError):
        return None
    if not stat.S_ISREG(found.st_mode):
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


def _sum(path: str) -> bytes:
    """Return a digest of what a file holds; empty if it cannot be read."""
    try:
        return blake2b(Path(path).read_bytes(), digest_size=16).digest()
    except OSError:
        return b""
