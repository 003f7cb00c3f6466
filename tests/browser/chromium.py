"""Chromium without a window, asked over a pipe in the words of its own debugging protocol."""

from __future__ import annotations

import base64
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from types import TracebackType
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
_SECONDS = 120.0

_PLUG = """
import fcntl, os, sys
high = [fcntl.fcntl(int(number), fcntl.F_DUPFD, 20) for number in sys.argv[1:3]]
os.dup2(high[0], 3)
os.dup2(high[1], 4)
os.execv(sys.argv[3], sys.argv[3:])
"""
"""The browser listens on 3 and speaks on 4, whatever numbers the pipes had here."""

Event = dict[str, Any]


def found() -> str | None:
    """Return the browser's program, None where there is none, or where it cannot be asked over pipes."""
    paths = (shutil.which(name) for name in NAMES if os.name == "posix")
    return next((path for path in paths if path), None)


class Browser:
    """A browser with one page; use it in a ``with`` statement."""

    def __init__(self, profile: Path, *switches: str) -> None:
        """Start the browser with a profile of its own."""
        program = found()
        assert program is not None
        theirs_in, ours_out = os.pipe()
        ours_in, theirs_out = os.pipe()
        words = (
            program, "--headless", "--no-sandbox", "--no-first-run", "--remote-debugging-pipe",
            "--hide-scrollbars",
            "--enable-unsafe-swiftshader", f"--user-data-dir={profile}", *switches, "about:blank",
        )  # fmt: skip
        self.worker = subprocess.Popen(
            [sys.executable, "-c", _PLUG, str(theirs_in), str(theirs_out), *words],
            pass_fds=(theirs_in, theirs_out),
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(theirs_in)
        os.close(theirs_out)
        self._out, self._in = os.fdopen(ours_out, "wb", 0), os.fdopen(ours_in, "rb")
        self._count, self._session = 0, ""
        self.events: list[Event] = []
        targets = self.call("Target.getTargets")["targetInfos"]
        page = next(one["targetId"] for one in targets if one["type"] == "page")
        self._session = self.call("Target.attachToTarget", targetId=page, flatten=True)["sessionId"]
        for room in ("Page", "Runtime", "Network", "Log"):
            self.call(f"{room}.enable")

    def __enter__(self) -> Browser:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the browser and wait for it."""
        self.worker.terminate()
        self.worker.wait(_SECONDS)
        self._out.close()
        self._in.close()

    def call(self, method: str, **words: Any) -> dict[str, Any]:
        """Return the answer to one request."""
        self._count += 1
        number = self._count
        asked = {"id": number, "method": method, "params": words}
        self._out.write(
            json.dumps(asked | ({"sessionId": self._session} if self._session else {})).encode() + b"\0"
        )
        while True:
            told = self._next()
            if told.get("id") == number:
                assert "error" not in told, told
                return dict(told["result"])
            self.events.append(told)

    def _next(self) -> Event:
        """Return what the browser says next."""
        letters = bytearray()
        while (letter := self._in.read(1)) != b"\0":
            assert letter, "the browser has ended"
            letters += letter
        return dict(json.loads(letters))

    def go(self, address: str) -> None:
        """Open a page and wait until it is loaded."""
        self.call("Page.navigate", url=address)
        self._loaded()

    def reload(self) -> None:
        """Load the page again."""
        self.call("Page.reload")
        self._loaded()

    def _loaded(self) -> None:
        """Wait for the page."""
        while True:
            told = self._next()
            self.events.append(told)
            if told.get("method") == "Page.loadEventFired":
                return

    def run(self, program: str) -> Any:
        """Return the value of an expression in the page."""
        answer = self.call("Runtime.evaluate", expression=program, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")

    def size(self, width: int, height: int, *, is_phone: bool = False) -> None:
        """Set the size of the window, in pixels of the page."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, mobile=is_phone, deviceScaleFactor=1,
        )  # fmt: skip

    def pdf(self, width: float, height: float) -> bytes:
        """Return the page as it prints on paper of a size in inches."""
        return base64.b64decode(self.call("Page.printToPDF", paperWidth=width, paperHeight=height)["data"])

    def complaints(self) -> list[str]:
        """Return what went wrong in the page: exceptions, errors and warnings told by the page itself."""
        found = []
        for event in self.events:
            words = event.get("params", {})
            if event.get("method") == "Runtime.exceptionThrown":
                found.append(str(words["exceptionDetails"]))
            if event.get("method") == "Runtime.consoleAPICalled" and words["type"] in (
                "error",
                "warning",
                "assert",
            ):
                found.append(str(words["args"]))
            # the graphics driver tells of slow reads as a "rendering" warning; that is the test's doing
            if event.get("method") == "Log.entryAdded" and words["entry"]["level"] == "error":
                found.append(str(words["entry"]))
        return found

    def requests(self) -> list[str]:
        """Return the addresses that were asked for."""
        return [
            event["params"]["request"]["url"]
            for event in self.events
            if event.get("method") == "Network.requestWillBeSent"
        ]
