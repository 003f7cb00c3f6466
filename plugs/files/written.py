"""What a build has made so far: each file by its path, how large it is and its digest, not its content."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from hashlib import sha256
from pathlib import Path

from plugs.files.names import folded
from plugs.ground.errors import promise
from plugs.ground.records import record


@record(frozen=True, slots=True, kw_only=True)
class Written:
    """A file of a build.

    Attributes
    ----------
    size : int, dimensionless
        Its bytes.
    sha256 : str
        Of its content, in hexadecimal digits.
    fault : OSError or None
        Why it could not be written.
    """

    size: int
    sha256: str
    fault: OSError | None = None


class FileList(Mapping[str, Written]):
    """The files of a build by their paths in its folder, each written there as it comes.

    Parameters
    ----------
    folder : Path or None
        Where they go; None for nowhere.
    """

    def __init__(self, folder: Path | None = None) -> None:
        """Begin empty."""
        self.folder = folder
        self._rows: dict[str, Written] = {}
        self._by_stem: dict[str, list[str]] = {}
        self._names: set[str] = set()

    def __getitem__(self, path: str) -> Written:
        """Return the file of a path."""
        return self._rows[path]

    def __iter__(self) -> Iterator[str]:
        """Yield the paths."""
        return iter(self._rows)

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self._rows)

    def add(self, files: Mapping[str, bytes | str | Written]) -> None:
        """Take files over, and write those that nobody has written yet: no path is written twice.

        Parameters
        ----------
        files : mapping of str to bytes, str or Written
            By path in the folder.
        """
        for path, content in files.items():
            promise(path not in self._rows, f"made twice: {path}")
            promise(folded(path) not in self._names, "two files of the build have one name")
            self._names.add(folded(path))
            self._by_stem.setdefault(path.rpartition(".")[0], []).append(path)
            plain = content.encode() if isinstance(content, str) else content
            self._rows[path] = plain if isinstance(plain, Written) else written(self.folder, path, plain)

    def of(self, stem: str) -> list[str]:
        """Return the files of a drawing.

        Parameters
        ----------
        stem : str
            Its path, without ending.

        Returns
        -------
        list of str
            In order.
        """
        return sorted(self._by_stem.get(stem, ()))


def written(folder: Path | None, path: str, content: bytes) -> Written:
    """Write a file, and return what is told of it; what went wrong is told too.

    Parameters
    ----------
    folder : Path or None
        None to write nothing.
    path : str
        In the folder.
    content : bytes

    Returns
    -------
    Written
    """
    fault: OSError | None = None
    if folder is not None:
        target = folder / path
        try:
            try:
                target.write_bytes(content)
            except FileNotFoundError:  # the first of its folder
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(content)
        except OSError as error:
            fault = error
    return Written(size=len(content), sha256=sha256(content).hexdigest(), fault=fault)
