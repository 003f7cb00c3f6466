"""Write a build's folder whole or not at all: under a passing name first, then swapped in."""

from __future__ import annotations

import os
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from plugs.errors import PlugError

SUMMARY: Final = "summary.json"
"""The file by which a build's folder is known."""


class FreshFolder:
    """A folder under a passing name beside the wanted one, put in its place at the end, or removed."""

    def __init__(self, folder: Path) -> None:
        """Refuse a folder that cannot be written, or that holds anything that no build wrote."""
        self.folder = folder
        self.fresh = folder.parent / f".{folder.name}.new-{os.getpid()}"
        self.old = folder.parent / f".{folder.name}.old"
        try:
            folder.parent.mkdir(parents=True, exist_ok=True)
            self._recover()
            self.fresh.mkdir()
        except OSError as error:
            raise PlugError(
                param="--out",
                value=str(folder),
                reason=f"the folder cannot be written: {error.strerror}",
                remedy="name a folder that you may write to, such as --out exports/try-1",
            ) from error

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
        if self.folder.exists() and not self.folder.is_dir():
            self._refuse("this is a file")
        if self.folder.is_dir() and any(self.folder.iterdir()) and not (self.folder / SUMMARY).is_file():
            self._refuse("the folder holds other things, which a build would remove")

    def _refuse(self, reason: str) -> None:
        """Raise the error of a folder that is not ours to replace."""
        raise PlugError(
            param="--out",
            value=str(self.folder),
            reason=reason,
            remedy=f"name a new folder, such as --out {self.folder / 'plug-1'}"
            if self.folder.is_dir()
            else "name a folder",
        )

    def __enter__(self) -> FreshFolder:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Remove what was not swapped in."""
        shutil.rmtree(self.fresh, ignore_errors=True)

    def write(self, files: Mapping[str, bytes]) -> None:
        """Write all files under the passing name."""
        try:
            for name, content in files.items():
                path = self.fresh / name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(content)
        except OSError as error:
            raise PlugError(
                param="--out",
                value=str(self.folder),
                reason=f"a file could not be written: {error.strerror}",
                remedy=f"free {sum(map(len, files.values())) / 1e6:.1f} MB there, or name another folder",
            ) from error

    def swap_in(self) -> None:
        """Put the new folder in the place of the old one."""
        if self.folder.exists():
            self.folder.rename(self.old)
        self.fresh.rename(self.folder)
        shutil.rmtree(self.old, ignore_errors=True)


def _is_running(pid: str) -> bool:
    """Return whether a process of that number runs, as far as can be told."""
    if not pid.isdigit() or os.name != "posix":
        return False
    try:
        os.kill(int(pid), 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
