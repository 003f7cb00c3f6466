"""Write a build's folder whole or not at all: under a passing name first, then exchanged for the old one."""

from __future__ import annotations

import errno
import json
import os
import shutil
import stat
import sys
import tempfile
import threading
from collections.abc import Iterator, Mapping
from contextlib import suppress
from hashlib import file_digest
from pathlib import Path
from typing import Any, Final

from plugs.files.written import FileList, Written
from plugs.ground.errors import PlugError

BOOK: Final = "book.html"
"""The page that shows a whole build."""

SUMMARY: Final = "summary.json"
"""The file by which a build's folder is known: it lists all others, and is written last."""

_DROPPINGS: Final = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})
"""What file browsers leave in a folder that they have shown; nobody misses it."""

_EXCHANGE: Final = 2
"""RENAME_EXCHANGE of Linux's renameat2, RENAME_SWAP of macOS's renamex_np (manual pages, from memory)."""

_PRESENT: Final = -100
"""AT_FDCWD of Linux: paths go from the present folder (manual page, from memory)."""

_HOLDS: Final = os.name == "nt"
"""Whether an open file holds the folders that it lies in (behaviour of Windows, from memory)."""

_TRIES, _PAUSE_S = 40, 0.05
"""At moving a folder that is held, and between two: scanners and servers let go of a file within 2 s."""

_SYNCHRONISE, _TIMEOUT, _DENIED = 0x100000, 0x102, 5
"""SYNCHRONIZE, WAIT_TIMEOUT and ERROR_ACCESS_DENIED of Windows (its documentation, from memory)."""

_NOT_KNOWN: Final = (errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP)


class FreshFolder:
    """A folder under a passing name beside the wanted one, put in its place at the end, or removed.

    Parameters
    ----------
    folder : Path
        The wanted one: not there yet, empty, or holding a build as it was written and nothing else.

    Attributes
    ----------
    files : FileList
        Written under the passing name as they come.
    """

    def __init__(self, folder: Path) -> None:
        """Refuse a folder that cannot be written, or that holds anything that no build wrote."""
        self.asked = folder
        self._made: list[Path] = []
        self._looked_at: dict[str, tuple[int, ...]] = {}
        try:
            self.folder = folder.resolve()
            name, parent = self.folder.name, self.folder.parent
            self._made = [p for p in (parent, *parent.parents) if not p.exists()]
            parent.mkdir(parents=True, exist_ok=True)
            recover(self.folder)
            self._check_present()
            self.fresh = _made_anew(parent, f".{name}.new-{os.getpid()}")
            self.old = parent / f".{name}.old-{os.getpid()}"
            self.files = FileList(self.fresh)
        except (OSError, RuntimeError, PlugError) as error:
            self._drop_parents()
            if isinstance(error, PlugError):
                raise
            raise self._unwritable("the folder cannot be written", error) from error

    def _unwritable(self, reason: str, error: Exception, remedy: str = "") -> PlugError:
        """Return the error of a folder that the system refuses to write."""
        words = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        return PlugError(
            param="--out",
            value=str(self.asked),
            reason=f"{reason}: {words}",
            remedy=remedy or f"name a folder that you may write to, such as --out {_writable_place()}",
        )

    def _check_present(self) -> None:
        """Refuse to replace what is no folder of ours, or what could not be removed afterwards."""
        if self.folder.is_dir():
            self._check_own(self.folder)
            locked = _locked_folder(self.folder)
            if locked:
                self._refuse(
                    f"the build there cannot be removed: you may not write to {locked}",
                    f"name a new folder, such as --out {self.asked}-1, or have its owner remove it",
                )
        elif self.folder.exists() or self.folder.is_symlink():
            self._refuse("this is a file", f"name a folder, such as --out {self.asked}-1")

    def _check_own(self, folder: Path) -> None:
        """Refuse to remove anything that a person put into a build's folder, or changed there."""
        strange = _strange_entry(folder, self._looked_at)
        if strange:
            self._refuse(
                f"the folder holds {strange}, and this build would remove it",
                f"move it elsewhere, or name a new folder, such as --out {self.asked / 'plug-1'}",
            )

    def _refuse(self, reason: str, remedy: str) -> None:
        """Raise the error of a folder that is not ours to replace."""
        raise PlugError(param="--out", value=str(self.asked), reason=reason, remedy=remedy)

    def __enter__(self) -> FreshFolder:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Remove what was not swapped in, with the folders made for it."""
        shutil.rmtree(self.fresh, ignore_errors=True)
        self._drop_parents()

    def _drop_parents(self) -> None:
        """Remove the folders that were made on the way, as long as nothing is in them."""
        with suppress(OSError):
            for parent in self._made:
                parent.rmdir()

    def write(self, files: Mapping[str, bytes | str | Written]) -> None:
        """Write the last files under the passing name, and hold that all that were added are there.

        Parameters
        ----------
        files : mapping of str to bytes, str or Written
            By path in the folder.

        Raises
        ------
        PlugError
            There is no room, or no right to write.
        """
        self.files.add(files)
        error = next((one.fault for one in self.files.values() if one.fault is not None), None)
        if error is not None:
            size = sum(one.size for one in self.files.values())
            remedy = f"free {size / 1e6:.1f} MB there, or name another folder"
            if error.errno in (errno.ENOENT, errno.ENAMETOOLONG):  # a path that the system finds too long
                remedy = f"name a folder nearer to the top, such as --out {_writable_place()}"
            raise self._unwritable("a file could not be written", error, remedy) from error

    def swap_in(self) -> None:
        """Put the new folder in the place of the old one, in one step where the system can.

        Raises
        ------
        PlugError
            The old folder cannot be moved, or somebody has changed it meanwhile; it is where it was.
        """
        try:
            if not self.folder.exists():
                _move(self.fresh, self.folder)
            else:
                with suppress(OSError):
                    self.fresh.chmod(self.folder.stat().st_mode & 0o7777)
                if not _exchanged(self.fresh, self.folder):
                    self._step_by_step()
                else:
                    self._check_exchanged()
        except OSError as error:
            closing = f"close the programs that have a file of it open, or name --out {self.asked}-1"
            held = _HOLDS and isinstance(error, PermissionError)
            raise self._unwritable("the folder cannot be replaced", error, closing if held else "") from error
        _removed(self.fresh)

    def _check_exchanged(self) -> None:
        """Undo an exchange that took away what somebody put into the old folder while this build ran."""
        try:
            self._check_own(self.fresh)
        except PlugError:
            _exchanged(self.fresh, self.folder)
            raise

    def _step_by_step(self) -> None:
        """Move the old folder aside, the new one in, and mark the old one as done with: `recover` knows."""
        _move(self.folder, self.old)
        try:
            self._check_own(self.old)
            _move(self.fresh, self.folder)
        except (OSError, PlugError):
            _move(self.old, self.folder)
            raise
        with suppress(OSError):  # the new build is in its place; the next clears what is left of the old
            _move(self.old, self.fresh)


def beginnings(folder: Path) -> tuple[str, ...]:
    """Return how all paths begin that a build writes for a folder: in it, and under its passing names.

    Parameters
    ----------
    folder : Path
        The wanted one, there or not.

    Returns
    -------
    tuple of str
        Of paths that are resolved.
    """
    real = folder.resolve()
    return (str(real) + os.sep, *(str(real.parent / f".{real.name}.{word}-") for word in ("new", "old")))


def recover(folder: Path) -> None:
    """Bring back the good build of a run that was killed in the middle of a swap, and clear what it left.

    A whole build lies under the name with ``.old`` only while its place is empty or already taken; what is
    being written or removed lies under the name with ``.new``. What another person left and what may not be
    removed stays; it is in nobody's way.

    Parameters
    ----------
    folder : Path
        The wanted one, there or not.
    """
    parent, name = folder.parent, folder.name
    for aside in sorted(_left(parent, f".{name}.old"), key=_age, reverse=True):
        with suppress(OSError):
            if not folder.exists() and (aside / SUMMARY).is_file():
                aside.rename(folder)
            elif folder.exists() and not _strange_entry(aside, {}):
                trash = parent / f".{name}.new-{aside.name.rpartition('-')[2]}"
                aside.rename(trash)
                _removed(trash)
    for stale in _left(parent, f".{name}.new"):
        _removed(stale)


def recover_all(parent: Path) -> None:
    """Do as `recover` for every folder beside which a killed run left something.

    Parameters
    ----------
    parent : Path
        In which builds lie; need not be there.
    """
    with suppress(OSError):
        for name in sorted({aside.name[1:].rpartition(".")[0] for aside in parent.glob(".*.old*")}):
            recover(parent / name)


def drop_build(folder: Path) -> None:
    """Remove a build that nobody needs any more, unless a person has put or changed anything there.

    Parameters
    ----------
    folder : Path
        There or not.
    """
    with suppress(OSError):
        if (folder / SUMMARY).is_file() and not _strange_entry(folder, {}):
            trash = folder.with_name(f".{folder.name}.new-{os.getpid()}")
            folder.rename(trash)
            _removed(trash)


def _left(parent: Path, head: str) -> Iterator[Path]:
    """Yield the folders that begin with a passing name and belong to no run that is under way."""
    for found in sorted(parent.iterdir()):
        rest = found.name.removeprefix(head)
        is_passing = found.name.startswith(head) and rest[:1] in ("", "-")
        is_ours = is_passing and not _is_running(rest[1:].partition("-")[0])
        if is_ours and found.is_dir() and not found.is_symlink():
            yield found


def _age(folder: Path) -> float:
    """Return when the build in a folder was written; 0 for half a one."""
    try:
        return (folder / SUMMARY).stat().st_mtime
    except OSError:
        return 0.0


def _made_anew(parent: Path, name: str) -> Path:
    """Make a folder under a name, or under one like it where something lies that cannot be removed."""
    for number in range(100):
        path = parent / (name if number == 0 else f"{name}-{number}")
        try:
            path.mkdir()
        except FileExistsError:
            continue
        return path
    raise FileExistsError(errno.EEXIST, "too much is left there by builds that were killed")


def _move(folder: Path, target: Path) -> None:
    """Move a folder; where a file that somebody looks into holds it, try again for a while."""
    for _ in range(_TRIES if _HOLDS else 0):
        try:
            folder.rename(target)
        except PermissionError:
            threading.Event().wait(_PAUSE_S)
        else:
            return
    folder.rename(target)


def _removed(folder: Path) -> None:
    """Remove a folder as far as one may, its summary first: half of it is never taken for a build."""
    with suppress(OSError):
        (folder / SUMMARY).unlink(missing_ok=True)
    shutil.rmtree(folder, ignore_errors=True)


def _exchanged(one: Path, other: Path) -> bool:
    """Exchange two folders in one step, and return whether the system can."""
    if sys.platform not in ("linux", "darwin"):
        return False
    import ctypes

    library = ctypes.CDLL(None, use_errno=True)
    first, second = os.fsencode(one), os.fsencode(other)
    try:
        if sys.platform == "linux":
            status = library.renameat2(_PRESENT, first, _PRESENT, second, ctypes.c_uint(_EXCHANGE))
        else:
            status = library.renamex_np(first, second, ctypes.c_uint(_EXCHANGE))
    except AttributeError:  # a system library older than the call
        return False
    number = ctypes.get_errno()
    if status != 0 and number not in _NOT_KNOWN:
        raise OSError(number, os.strerror(number))
    return bool(status == 0)


def _strange_entry(folder: Path, looked_at: dict[str, tuple[int, ...]]) -> str:
    """Return in words something in a folder that its build has not written so; empty if there is nothing.

    What was looked at before, and has not been touched since, is not read again.
    """
    try:
        files = json.loads((folder / SUMMARY).read_bytes())["files"]
        listed = {entry["path"]: entry["sha256"] for entry in files} | {SUMMARY: ""}
        rooms = {room.as_posix() for name in listed for room in Path(name).parents}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        first = min({entry.name for entry in folder.iterdir()} - _DROPPINGS, default="")
        return first and f"{first}, which no build wrote"
    for place, folders, names in os.walk(folder):
        folders.sort()
        for name in sorted({*folders, *names} - _DROPPINGS):
            path = Path(place) / name
            word, found = path.relative_to(folder).as_posix(), path.lstat()
            if stat.S_ISLNK(found.st_mode) or word not in (rooms if name in folders else listed):
                return f"{word}, which no build wrote"
            touched = found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns
            if listed.get(word) and looked_at.get(word) != touched:
                with path.open("rb") as file:
                    if file_digest(file, "sha256").hexdigest() != listed[word]:
                        return f"{word}, changed since it was built"
                looked_at[word] = touched
    return ""


def _locked_folder(folder: Path) -> str:
    """Return the first folder in a folder, or itself, from which one may remove nothing; empty if none."""
    for place, folders, names in os.walk(folder):
        folders.sort()
        if (folders or names) and not os.access(place, os.W_OK | os.X_OK):
            return place
    return ""


def _writable_place() -> Path:
    """Return a folder that could be written."""
    for place in (Path("exports"), Path("~").expanduser(), Path(tempfile.gettempdir())):
        there = next(p for p in (place.absolute(), *place.absolute().parents) if p.exists())
        if os.access(there, os.W_OK | os.X_OK):
            break
    return place / "try-1"


def _is_running(pid: str) -> bool:
    """Return whether another process of that number runs, as far as can be told."""
    if not pid.isdigit() or int(pid) == os.getpid():
        return False
    if sys.platform == "win32":  # a signal of number 0 would end it there
        return _is_waited_for(int(pid))
    try:
        os.kill(int(pid), 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True


def _is_waited_for(pid: int) -> bool:
    """Return whether a process of Windows can be waited for, or exists and may not be looked at."""
    import ctypes

    windows: Any = ctypes
    kernel = windows.WinDLL("kernel32", use_last_error=True)
    kernel.OpenProcess.restype = ctypes.c_void_p
    found = kernel.OpenProcess(_SYNCHRONISE, False, pid)
    if not found:
        return bool(windows.get_last_error() == _DENIED)
    try:
        return bool(kernel.WaitForSingleObject(ctypes.c_void_p(found), 0) == _TIMEOUT)
    finally:
        kernel.CloseHandle(ctypes.c_void_p(found))
