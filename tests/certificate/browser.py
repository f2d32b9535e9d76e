"""A headless Chromium steered through its own pipe, so that no port is opened and no library is needed."""

from __future__ import annotations

import base64
import itertools
import json
import os
import shutil
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from typing import Any

FLAGS = (
    *("--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run", "--disable-extensions"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage"),
    *("--proxy-server=http://127.0.0.1:9", "--remote-debugging-pipe"),
)
DEADLINE_S = 60.0
# Chromium hears on 3 and answers on 4.
LAUNCH = """
import fcntl, os, sys
hears, tells = (fcntl.fcntl(int(fd), fcntl.F_DUPFD, 10) for fd in sys.argv[1:3])
os.dup2(hears, 3), os.dup2(tells, 4)
os.execv(sys.argv[3], sys.argv[3:])
"""


def chromium() -> str | None:
    """Debian's Chromium, or None."""
    return shutil.which("chromium") if os.name == "posix" else None


class Browser:
    """One browser with one page."""

    def __init__(self, program: str) -> None:
        self._folder = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        told, self._write = os.pipe()
        self._read, tells = os.pipe()
        self._process = subprocess.Popen(
            [
                *(sys.executable, "-c", LAUNCH, str(told), str(tells), program),
                *(*FLAGS, f"--user-data-dir={self._folder.name}", "about:blank"),
            ],
            pass_fds=(told, tells),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(told)
        os.close(tells)
        self._numbers = itertools.count(1)
        self._rest = b""
        self._seen: list[dict[str, Any]] = []
        self._session: str | None = None
        try:
            self._attach()
        except BaseException:
            self.close()
            raise

    def _attach(self) -> None:
        target = next(t for t in self.call("Target.getTargets")["targetInfos"] if t["type"] == "page")
        attached = self.call("Target.attachToTarget", targetId=target["targetId"], flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Accessibility", "Network", "Log", "Runtime"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """One command and its answer; what else comes meanwhile is kept in `seen`."""
        number = next(self._numbers)
        message: dict[str, Any] = {"id": number, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == number:
                assert "error" not in answer, answer
                result: dict[str, Any] = answer["result"]
                return result
            self._seen.append(answer)

    def _next(self) -> dict[str, Any]:
        watchdog = threading.Timer(DEADLINE_S, self._process.kill)
        watchdog.start()
        try:
            while b"\0" not in self._rest:
                data = os.read(self._read, 1 << 20)
                assert data, "the browser ended"
                self._rest += data
        finally:
            watchdog.cancel()
        message, self._rest = self._rest.split(b"\0", 1)
        told: dict[str, Any] = json.loads(message)
        return told

    def open(self, path: Path) -> list[dict[str, Any]]:
        """Load a file; returns what the page asked the network for and what it complained of."""
        self._seen = []
        self.call("Page.navigate", url=path.as_uri())
        while not any(each.get("method") == "Page.loadEventFired" for each in self._seen):
            self._seen.append(self._next())
        # An answer to a call made afterwards: all that the page did before has been told.
        self.call("Runtime.evaluate", expression="document.readyState")
        return [
            each
            for each in self._seen
            if each.get("method") in ("Network.requestWillBeSent", "Log.entryAdded", "Runtime.exceptionThrown")
        ]

    def value(self, expression: str) -> Any:
        """What a JavaScript expression comes to in the page."""
        told = self.call("Runtime.evaluate", expression=expression, returnByValue=True)
        assert "exceptionDetails" not in told, told
        return told["result"].get("value")

    def tree(self) -> list[tuple[str, str]]:
        """The accessibility tree as (role, name), what is ignored left out."""
        nodes = self.call("Accessibility.getFullAXTree")["nodes"]
        return [
            (node["role"]["value"], node.get("name", {}).get("value", "")) for node in nodes if not node.get("ignored")
        ]

    def picture(self, width: int, height: int) -> bytes:
        """A PNG of the page's top."""
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)
        return base64.b64decode(self.call("Page.captureScreenshot", format="png")["data"])

    def printed(self) -> bytes:
        """The page as it prints, on its own paper."""
        told = self.call("Page.printToPDF", preferCSSPageSize=True, printBackground=True, displayHeaderFooter=False)
        return base64.b64decode(told["data"])

    def close(self) -> None:
        """End the browser that was started here."""
        os.close(self._write)
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(10)
        os.close(self._read)
        self._folder.cleanup()
