"""Write a build's folder whole or not at all: under a passing name first, then swapped in."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from plugs.errors import PlugError, promise
from plugs.output.file_names import folded

SUMMARY: Final = "summary.json"
"""The file by which a build's folder is known: it lists all others."""

_DROPPINGS: Final = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})
"""What file browsers leave in a folder that they have shown; nobody misses it."""


class FreshFolder:
    """A folder under a passing name beside the wanted one, put in its place at the end, or removed.

    Parameters
    ----------
    folder : Path
        The wanted one: not there yet, empty, or holding a build and nothing else.
    """

    def __init__(self, folder: Path) -> None:
        """Refuse a folder that cannot be written, or that holds anything that no build wrote."""
        self.asked = folder
        try:
            self.folder = folder.resolve()
            name, parent = self.folder.name, self.folder.parent
            self.fresh = parent / f".{name}.new-{os.getpid()}"
            self.old = parent / f".{name}.old"
            self._made = [p for p in (parent, *parent.parents) if not p.exists()]
            parent.mkdir(parents=True, exist_ok=True)
            self._recover()
            self.fresh.mkdir()
        except (OSError, RuntimeError) as error:
            raise self._unwritable("the folder cannot be written", error) from error

    def _unwritable(self, reason: str, error: Exception) -> PlugError:
        """Return the error of a folder that the system refuses to write."""
        words = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        return PlugError(
            param="--out",
            value=str(self.asked),
            reason=f"{reason}: {words}",
            remedy="name a folder that you may write to, such as --out exports/try-1",
        )

    def _recover(self) -> None:
        """Clear what a killed build left, and check that the present folder is one of ours."""
        if self.old.is_dir():
            if self.folder.exists():
                shutil.rmtree(self.old)
            else:
                self.old.rename(self.folder)
        for stale in self.folder.parent.glob(f".{self.folder.name}.new-*"):
            if not _is_running(stale.name.rpartition("-")[2]):
                shutil.rmtree(stale, ignore_errors=True)
        if self.folder.is_dir():
            strange = _strange_file(self.folder)
            if strange:
                self._refuse(
                    f"the folder holds {strange}, which no build wrote and this one would remove",
                    f"name a new folder, such as --out {self.asked / 'plug-1'}",
                )
        elif self.folder.exists():
            self._refuse("this is a file", f"name a folder, such as --out {self.asked}-1")

    def _refuse(self, reason: str, remedy: str) -> None:
        """Raise the error of a folder that is not ours to replace."""
        raise PlugError(param="--out", value=str(self.asked), reason=reason, remedy=remedy)

    def __enter__(self) -> FreshFolder:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Remove what was not swapped in, with the folders made for it."""
        shutil.rmtree(self.fresh, ignore_errors=True)
        for parent in self._made:
            if not parent.is_dir() or any(parent.iterdir()):
                break
            parent.rmdir()

    def write(self, files: Mapping[str, bytes]) -> None:
        """Write all files under the passing name.

        Parameters
        ----------
        files : mapping of str to bytes
            Contents by path in the folder.

        Raises
        ------
        PlugError
            There is no room, or no right to write.
        """
        promise(len({folded(name) for name in files}) == len(files), "two files of the build have one name")
        try:
            for name, content in files.items():
                path = self.fresh / name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(content)
        except OSError as error:
            raise PlugError(
                param="--out",
                value=str(self.asked),
                reason=f"a file could not be written: {error.strerror}",
                remedy=f"free {sum(map(len, files.values())) / 1e6:.1f} MB there, or name another folder",
            ) from error

    def swap_in(self) -> None:
        """Put the new folder in the place of the old one.

        Raises
        ------
        PlugError
            The old folder cannot be moved; it is where it was.
        """
        try:
            if self.folder.exists():
                self.folder.rename(self.old)
            self.fresh.rename(self.folder)
        except OSError as error:
            if self.old.exists() and not self.folder.exists():
                self.old.rename(self.folder)
            raise self._unwritable("the folder cannot be replaced", error) from error
        shutil.rmtree(self.old, ignore_errors=True)


def _strange_file(folder: Path) -> str:
    """Return something in a folder that the build in it has not listed; empty if there is nothing."""
    try:
        listed = {entry["path"] for entry in json.loads((folder / SUMMARY).read_bytes())["files"]} | {SUMMARY}
    except (OSError, ValueError, KeyError, TypeError):
        return min({entry.name for entry in folder.iterdir()} - _DROPPINGS, default="")
    for place, folders, files in os.walk(folder):
        folders.sort()
        links = [name for name in folders if (Path(place) / name).is_symlink()]
        for name in sorted({*files, *links} - _DROPPINGS):
            path = (Path(place) / name).relative_to(folder).as_posix()
            if path not in listed:
                return path
    return ""


def _is_running(pid: str) -> bool:
    """Return whether a process of that number runs, as far as can be told."""
    if not pid.isdigit() or os.name != "posix":
        return False
    try:
        os.kill(int(pid), 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True
