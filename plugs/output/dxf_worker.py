"""Render DXF files in a Python process of their own, started early so that nobody waits for its library.

The library takes longer to load than all else that a build does; on a second core it loads beside it.
"""

from __future__ import annotations

import os
import pickle
import queue
import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType

from plugs.output.picture import Drawing

_LONGEST_S = 300.0
_TAIL = 2000


class DxfRun:
    """A process that renders drawings; use it in a ``with`` statement, for one batch.

    Attributes
    ----------
    worker : subprocess.Popen
    """

    def __init__(self) -> None:
        """Start the process, which loads its library at once."""
        root = str(Path(__file__).resolve().parents[2])
        path = os.pathsep.join([root, *filter(None, [os.environ.get("PYTHONPATH")])])
        self.worker = subprocess.Popen(
            [sys.executable, "-P", "-m", "plugs.output.dxf_worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": path},
        )
        self._answers: queue.Queue[tuple[bytes, bytes]] = queue.Queue()
        self._talker: threading.Thread | None = None

    def __enter__(self) -> DxfRun:
        """Return the run itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the process, whatever it is doing."""
        self.worker.kill()
        if self._talker is None:
            self.worker.communicate()
        else:
            self._talker.join()

    def submit(self, drawings: Sequence[Drawing]) -> None:
        """Send the drawings, and go on.

        Parameters
        ----------
        drawings : sequence of Drawing
        """
        packed = pickle.dumps(list(drawings), protocol=pickle.HIGHEST_PROTOCOL)
        self._talker = threading.Thread(target=self._talk, args=(packed,), daemon=True)
        self._talker.start()

    def texts(self) -> list[str]:
        """Wait for the drawings that were sent, as the texts of DXF files.

        Returns
        -------
        list of str

        Raises
        ------
        AssertionError
            The process failed: a fault of ours.
        """
        answer, complaints = self._answers.get(timeout=_LONGEST_S)
        if self.worker.returncode != 0:
            raise AssertionError(
                f"DXF files were not rendered: {complaints.decode(errors='replace')[-_TAIL:]}"
            )
        texts: list[str] = pickle.loads(answer)
        return texts

    def _talk(self, packed: bytes) -> None:
        """Send the drawings and queue the answer."""
        self._answers.put(self.worker.communicate(packed))


def serve() -> None:
    """Render the drawings on standard input to standard output: the process's side."""
    from plugs.output.dxf import load_library, render_dxf

    load_library()
    texts = [render_dxf(drawing) for drawing in pickle.load(sys.stdin.buffer)]
    sys.stdout.buffer.write(pickle.dumps(texts, protocol=pickle.HIGHEST_PROTOCOL))


if __name__ == "__main__":
    serve()
