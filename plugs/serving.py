"""Show a build's folder in a browser on the same machine, and refresh it there when it is new.

Only this machine can ask: the server listens on the loopback address, and answers to its own names only,
so that no page of elsewhere can reach it under a borrowed name.
"""

from __future__ import annotations

import json
import socket
import threading
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from types import TracebackType
from typing import Any, Final
from urllib.parse import parse_qs, unquote, urlsplit

from plugs.files.folder import BOOK
from plugs.files.names import is_device
from plugs.ground.errors import PlugError

ADDRESS: Final = "127.0.0.1"
CHANGED: Final = "/changed"
REFRESH: Final = "/refresh.js"

LONGEST_WAIT_S: Final = 25.0
"""A question about changes is answered after this long at the latest, and then asked again."""

_STRANGE: Final = frozenset("\\:\0")
_SWAP_S: Final = 0.05  # s. Between two looks at a folder that is just being swapped
_SWAP_LOOKS: Final = 10  # half a second together: a swap is two renames

_KINDS: Final = {
    ".html": "text/html; charset=utf-8",
    ".json": "application/json",
    ".csv": "text/csv; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".pdf": "application/pdf",
    ".glb": "model/gltf-binary",
    ".stl": "model/stl",
    ".3mf": "model/3mf",
    ".step": "model/step",
    ".dxf": "image/vnd.dxf",
}

_WAITING: Final = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>No book yet</title></head>
<body><p>There is no book in the folder yet. This page shows it as soon as there is.</p></body></html>
"""

_SCRIPT: Final = """"use strict";
(() => {
  let count = null;
  let page = null;
  const bar = document.createElement("p");
  bar.setAttribute("role", "status");
  bar.style.cssText = "position:fixed;inset:0 0 auto 0;margin:0;padding:.6em 1em;z-index:1000;" +
    "white-space:pre-wrap;font:1rem/1.4 monospace;background:#7a0000;color:#fff;display:none";
  document.body.append(bar);
  const tell = (words) => {
    bar.textContent = words;
    bar.style.display = words ? "block" : "none";
  };
  const ask = async () => {
    try {
      const answer = await fetch("/changed" + (count === null ? "" : "?since=" + count), {cache: "no-store"});
      const now = await answer.json();
      if (page !== null && now.page !== page) {
        location.reload();
        return;
      }
      count = now.count;
      page = now.page;
      tell(now.fault ? "This is the last good build.\\n" + now.fault : "");
      setTimeout(ask, 20);
    } catch (_) {
      tell("The watch has ended; this is its last build.");
      setTimeout(ask, 2000);
    }
  };
  ask();
})();
"""


class FolderServer:
    """A server for one folder; use it in a ``with`` statement.

    Parameters
    ----------
    folder : Path
        There or not yet; may be replaced at any time.
    port : int, dimensionless
        To listen on; 0 takes any that is free.
    """

    def __init__(self, folder: Path, port: int = 0) -> None:
        """Begin to listen.

        Raises
        ------
        PlugError
            The port is taken or may not be used.
        """
        self._folder = folder.resolve()
        self._news = threading.Condition()
        self._count = 0
        self._page = 0
        self._fault = ""
        self._is_open = True
        try:
            self._server = _Server((ADDRESS, port), _Answer)
        except (OSError, OverflowError) as error:
            reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
            raise PlugError(
                param="--serve",
                value=port,
                reason=f"the port cannot be used: {reason}",
                remedy="name another, such as --serve 8765, or 0 for any that is free",
            ) from error
        self._server.owner = self
        self._thread = threading.Thread(target=self._server.serve_forever, args=(_SWAP_S,), daemon=True)
        self._thread.start()

    @property
    def port(self) -> int:
        """The port that it listens on."""
        return int(self._server.server_address[1])

    @property
    def url(self) -> str:
        """What to open in a browser."""
        return f"http://{ADDRESS}:{self.port}/"

    def __enter__(self) -> FolderServer:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Stop listening, and answer whoever still waits."""
        with self._news:
            self._is_open = False
            self._news.notify_all()
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()

    def show(self, folder: Path) -> None:
        """Serve a folder from now on; what browsers show of another is fetched again with the next news.

        Parameters
        ----------
        folder : Path
            There or not yet; may be replaced at any time.
        """
        folder = folder.resolve()
        with self._news:
            self._page += folder != self._folder
            self._folder = folder

    def announce(self, fault: str) -> None:
        """Tell browsers that the folder is new, or why it is not.

        Parameters
        ----------
        fault : str
            What is wrong with the recipe; empty if nothing is.
        """
        with self._news:
            self._count += 1
            self._page += not fault
            self._fault = fault
            self._news.notify_all()

    def changed(self, since: int | None) -> dict[str, int | str]:
        """Return the news, after waiting a while for some.

        Parameters
        ----------
        since : int or None
            The count that is known already; None waits for nothing.

        Returns
        -------
        dict of str to int or str
            "count" of announcements, which "page" there is to show, and the last "fault".
        """
        with self._news:
            self._news.wait_for(lambda: self._count != since or not self._is_open, timeout=LONGEST_WAIT_S)
            return {"count": self._count, "page": self._page, "fault": self._fault}

    def content(self, name: str) -> tuple[str, bytes] | None:
        """Return the kind and the content of a file in the folder.

        Parameters
        ----------
        name : str
            As it was asked for, from the slash on.

        Returns
        -------
        tuple of str and bytes, or None
            None if there is no such file, or it does not lie in the folder.
        """
        parts = name.split("/")[1:]
        if any(part in ("", ".", "..") or set(part) & _STRANGE or is_device(part) for part in parts):
            return None
        for _ in range(_SWAP_LOOKS):
            folder = self._folder
            path = folder.joinpath(*parts)
            try:
                if not path.resolve().is_relative_to(folder):
                    return None
                return _KINDS.get(path.suffix.lower(), "application/octet-stream"), path.read_bytes()
            except OSError:
                if folder.is_dir() or not self._is_open:
                    return None
            threading.Event().wait(_SWAP_S)  # the folder is just being replaced by the next
        return None


class _Server(ThreadingHTTPServer):
    """Answers each question in a thread of its own."""

    daemon_threads = True
    owner: FolderServer

    def finish_request(self, request: Any, client_address: Any) -> None:
        """Answer; a browser that has gone away is no fault."""
        try:
            super().finish_request(request, client_address)
        except (ConnectionError, TimeoutError):
            return

    def server_bind(self) -> None:
        """Take the address without asking the network for its name."""
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):
            self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        self.socket.bind(self.server_address)
        self.server_address = self.socket.getsockname()
        self.server_name, self.server_port = ADDRESS, self.server_address[1]


class _Answer(BaseHTTPRequestHandler):
    """The answer to one question."""

    server: _Server
    server_version = "plugs"
    sys_version = ""
    timeout = 60

    def do_GET(self) -> None:
        """Answer with a file, the news, or the script that asks for them."""
        if not self._is_for_us():
            self._send(HTTPStatus.MISDIRECTED_REQUEST, "text/plain; charset=utf-8", b"not served here\n")
            return
        asked = urlsplit(self.path)
        name = unquote(asked.path, errors="replace")
        owner = self.server.owner
        if name == CHANGED:
            since = parse_qs(asked.query).get("since", [""])[0]
            known = int(since) if since.isascii() and since.isdigit() and len(since) < 10 else None
            self._send(HTTPStatus.OK, "application/json", json.dumps(owner.changed(known)).encode())
        elif name == REFRESH:
            self._send(HTTPStatus.OK, "text/javascript; charset=utf-8", _SCRIPT.encode())
        elif name == "/favicon.ico":
            self._send(HTTPStatus.NO_CONTENT, "image/x-icon", b"")  # browsers ask for it unbidden
        elif (found := owner.content(f"/{BOOK}" if name == "/" else name)) is not None:
            self._send(HTTPStatus.OK, found[0], _refreshing(found[1]) if "html" in found[0] else found[1])
        elif name == "/":
            self._send(HTTPStatus.OK, _KINDS[".html"], _refreshing(_WAITING.encode()))
        else:
            self._send(HTTPStatus.NOT_FOUND, "text/plain; charset=utf-8", b"no such file\n")

    do_HEAD = do_GET  # noqa: N815 - likewise

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing."""

    def _is_for_us(self) -> bool:
        """Return whether the question names this machine and port as the one asked."""
        hosts = self.headers.get_all("Host") or []
        port = self.server.owner.port
        return len(hosts) == 1 and hosts[0].lower() in (f"{ADDRESS}:{port}", f"localhost:{port}")

    def _send(self, status: HTTPStatus, kind: str, content: bytes) -> None:
        """Send an answer that no browser keeps."""
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(content)))
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Cross-Origin-Resource-Policy", "same-origin")
        self.send_header("Content-Security-Policy", "frame-ancestors 'none'")
        self.send_header("X-Frame-Options", "DENY")
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(content)


def _refreshing(page: bytes) -> bytes:
    """Return a page that asks for news: the book itself has no such line, and is the same everywhere."""
    line = f'<script src="{REFRESH}"></script>'.encode()
    head, ending, tail = page.rpartition(b"</body>")
    return head + line + ending + tail if ending else page + line
