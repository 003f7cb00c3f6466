"""Serving: the folder and nothing else, to this machine and to nobody else, and news as they come.

What is refused are the ways out of a folder and the borrowed names that handbooks of web security list
(path traversal, DNS rebinding: common practice, no source).
"""

from __future__ import annotations

import http.client
import json
import os
import socket
import threading
import time
from pathlib import Path

import pytest

from plugs import serving
from plugs.ground.errors import PlugError
from plugs.serving import ADDRESS, FolderServer

PATIENCE_S = 120.0
"""Longest wait for what should come at once: it matters only where it does not come."""


def asked(server: FolderServer, path: str, host: str | None = None, method: str = "GET") -> http.client.HTTPResponse:  # fmt: skip  # noqa: E501
    """Ask the server for something, and return its answer, read."""
    line = http.client.HTTPConnection(ADDRESS, server.port, timeout=PATIENCE_S)
    line.putrequest(method, path, skip_host=True)
    if host != "":
        line.putheader("Host", host or f"{ADDRESS}:{server.port}")
    line.endheaders()
    answer = line.getresponse()
    answer.text = answer.read().decode("utf-8", "replace")  # type: ignore[attr-defined]
    line.close()
    return answer


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with a book and a layer, and a secret beside it."""
    folder = tmp_path / "out"
    (folder / "layers").mkdir(parents=True)
    (folder / "book.html").write_text("<html><body><h1>Book</h1></body></html>", encoding="utf-8")
    (folder / "layers" / "layer 1.svg").write_text("<svg/>", encoding="utf-8")
    (tmp_path / "secret.txt").write_text("secret", encoding="utf-8")
    return folder


def test_the_book_and_its_files_are_served(folder: Path) -> None:
    """The book at the root, with the line that refreshes it; others as they are; nothing is kept."""
    with FolderServer(folder) as server:
        book = asked(server, "/")
        assert (book.status, book.getheader("Content-Type")) == (200, "text/html; charset=utf-8")
        assert book.getheader("Cache-Control") == "no-store"
        assert '<h1>Book</h1><script src="/refresh.js"></script></body>' in book.text
        assert asked(server, "/book.html").text == book.text
        svg = asked(server, "/layers/layer%201.svg?x=1")
        assert (svg.text, svg.getheader("Content-Type")) == ("<svg/>", "image/svg+xml")
        script = asked(server, "/refresh.js")
        assert script.getheader("Content-Type") == "text/javascript; charset=utf-8"
        head = asked(server, "/", method="HEAD")
        assert (head.status, head.text) == (200, "")
        assert asked(server, "/", method="POST").status == 501
        assert asked(server, "/favicon.ico").status == 204
        assert (folder / "book.html").read_text(encoding="utf-8") == "<html><body><h1>Book</h1></body></html>"


def test_no_page_can_frame_it(folder: Path) -> None:
    """Whatever is answered forbids it: CSP level 2, frame-ancestors; RFC 7034 for older browsers (memory)."""
    with FolderServer(folder) as server:
        for path, host in (("/", None), ("/layers/layer%201.svg", None), ("/none", None), ("/", "elsewhere")):
            answer = asked(server, path, host)
            assert answer.getheader("Content-Security-Policy") == "frame-ancestors 'none'"
            assert answer.getheader("X-Frame-Options") == "DENY"


@pytest.mark.parametrize(
    "path",
    [
        "/../secret.txt", "/%2e%2e/secret.txt", "/layers/../../secret.txt", "/..%2fsecret.txt",
        "//secret.txt", "/..%5csecret.txt", "/layers//layer%201.svg", "/C:/secret.txt", "/%00",
        "/link.txt", "/layers", "/none", "/./book.html", "/%ff", "/" + "a" * 5000,
    ],
)  # fmt: skip
def test_nothing_outside_the_folder_is_served(folder: Path, path: str) -> None:
    """By no way of writing it, and by no link in it."""
    if os.name == "posix":
        (folder / "link.txt").symlink_to(folder.parent / "secret.txt")
    with FolderServer(folder) as server:
        answer = asked(server, path)
        assert answer.status == 404
        assert "secret" not in answer.text.replace("/secret", "")


@pytest.mark.parametrize(
    "host", ["example.com", "", "127.0.0.1", "localhost.example.com:{port}", "[::1]:{port}"]
)
def test_other_names_are_not_answered(folder: Path, host: str) -> None:
    """A page from elsewhere that has this address under its own name gets nothing."""
    with FolderServer(folder) as server:
        assert asked(server, "/", host.format(port=server.port)).status in (400, 421)
        assert asked(server, "/changed", host.format(port=server.port)).status in (400, 421)
        assert asked(server, "/", f"LocalHost:{server.port}").status == 200


def test_it_listens_on_this_machine_only(folder: Path) -> None:
    """The address is the loopback's, and a taken port is told with another to use."""
    with FolderServer(folder) as server:
        assert server.url == f"http://127.0.0.1:{server.port}/"
        with pytest.raises(PlugError, match="--serve") as fault, FolderServer(folder, server.port):
            pass
        assert fault.value.value == server.port
    with socket.socket() as line:
        assert line.connect_ex((ADDRESS, server.port)) != 0
    with pytest.raises(PlugError, match="--serve"):
        FolderServer(folder, 70000)


def test_news_reach_whoever_waits(folder: Path) -> None:
    """A question that knows the count waits for the next; the fault comes along and goes again."""
    with FolderServer(folder) as server:
        assert json.loads(asked(server, "/changed").text) == {"count": 0, "page": 0, "fault": ""}
        answers: list[dict] = []
        waiting = threading.Thread(
            target=lambda: answers.append(json.loads(asked(server, "/changed?since=0").text))
        )
        waiting.start()
        time.sleep(0.1)
        assert answers == []
        server.announce("width = -5\nwhy: <b>\ndo: 400")
        waiting.join(PATIENCE_S)
        assert answers == [{"count": 1, "page": 0, "fault": "width = -5\nwhy: <b>\ndo: 400"}]
        server.announce("")
        assert json.loads(asked(server, "/changed?since=1").text) == {"count": 2, "page": 1, "fault": ""}
        for since in ("x", "-1", "99999999999999", "%00"):
            assert asked(server, f"/changed?since={since}").status == 200


def test_another_folder_is_another_page(folder: Path, tmp_path: Path) -> None:
    """A browser fetches it anew even where the news is a fault: it shows what that is told of."""
    with FolderServer(folder) as server:
        server.show(folder)
        server.show(tmp_path / "look")
        server.announce("")
        assert "no book in the folder yet" in asked(server, "/").text
        server.show(folder)
        server.announce("width = -5")
        assert "<h1>Book</h1>" in asked(server, "/").text
        assert server.changed(None) == {"count": 2, "page": 3, "fault": "width = -5"}


def test_closing_does_not_wait_for_those_who_wait(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Browsers left open do not hold the program, though each would have waited for an hour."""
    monkeypatch.setattr(serving, "LONGEST_WAIT_S", 3600.0)
    has_come = threading.Semaphore(0)
    changed = FolderServer.changed

    def noted(server: FolderServer, since: int | None) -> dict[str, int | str]:
        has_come.release()
        return changed(server, since)

    monkeypatch.setattr(FolderServer, "changed", noted)
    server = FolderServer(folder)
    waiting = [threading.Thread(target=asked, args=(server, "/changed?since=0")) for _ in range(5)]
    for one in waiting:
        one.start()
    assert all(has_come.acquire(timeout=PATIENCE_S) for _ in waiting)
    closing = threading.Thread(target=server.__exit__, args=(None, None, None), daemon=True)
    closing.start()
    for one in (closing, *waiting):
        one.join(PATIENCE_S)
        assert not one.is_alive()


def test_a_folder_that_is_not_there_yet_has_a_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Which refreshes itself; and one that is just being swapped is waited for."""
    folder, new = tmp_path / "out", tmp_path / "new"
    new.mkdir()
    (new / "a.csv").write_text("1")
    with FolderServer(folder) as server:
        assert "refresh.js" in asked(server, "/").text
        monkeypatch.setattr(serving, "_SWAP_LOOKS", int(PATIENCE_S / serving._SWAP_S))
        threading.Timer(0.1, lambda: new.rename(folder)).start()
        assert asked(server, "/a.csv").status == 200
