"""A headless Chromium driven over its debugging pipe: no other package, no network."""

import base64
import contextlib
import json
import os
import select
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--force-color-profile=srgb",
    "--remote-debugging-pipe",
)
NAMES = ("chromium", "chromium-browser", "google-chrome")
WAIT_S = 60.0


def program() -> str | None:
    """The browser's program, where one is installed."""
    return next((found for name in NAMES if (found := shutil.which(name))), None)


class Browser:
    """One page of one browser; ``events`` holds what it told on its own."""

    def __init__(self, process: subprocess.Popen[bytes], to: int, back: int) -> None:
        self.process, self._to, self._back = process, to, back
        self._rest = b""
        self._count = 0
        self.events: list[dict[str, Any]] = []
        self._session: str | None = None
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.ask("Target.attachToTarget", targetId=target, flatten=True)[
            "sessionId"
        ]
        for domain in ("Page", "Network", "Log", "Runtime", "Accessibility"):
            self.ask(f"{domain}.enable")

    def ask(self, method: str, **params: Any) -> dict[str, Any]:
        """The answer to one command."""
        self._count += 1
        message: dict[str, Any] = {"id": self._count, "method": method, "params": params}
        if self._session is not None:
            message["sessionId"] = self._session
        os.write(self._to, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._count:
                assert "error" not in answer, answer["error"]
                found: dict[str, Any] = answer["result"]
                return found
            self.events.append(answer)

    def _next(self) -> dict[str, Any]:
        end = time.monotonic() + WAIT_S
        while b"\0" not in self._rest:
            ready, _, _ = select.select([self._back], [], [], max(0.0, end - time.monotonic()))
            assert ready, "the browser does not answer"
            data = os.read(self._back, 1 << 20)
            assert data, "the browser is gone"
            self._rest += data
        head, _, self._rest = self._rest.partition(b"\0")
        found: dict[str, Any] = json.loads(head)
        return found

    def open(self, page: Path) -> None:
        """Load a file and wait for all of it."""
        self.events.clear()
        self.ask("Page.navigate", url=page.resolve().as_uri())
        while not any(e.get("method") == "Page.loadEventFired" for e in self.events):
            self.events.append(self._next())

    def value(self, expression: str) -> Any:
        """What an expression is worth in the page."""
        answer = self.ask("Runtime.evaluate", expression=expression, returnByValue=True)
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def window(self, width: int, height: int, *, mobile: bool = False) -> None:
        """The size of the window in px."""
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=mobile,
        )

    def media(self, kind: str = "screen", scheme: str = "light") -> None:
        """Screen or print; light or dark."""
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        self.ask("Emulation.setEmulatedMedia", media=kind, features=features)

    def key(self, key: str, code: int, text: str = "") -> None:
        """Press and release one key."""
        common = {"key": key, "code": key, "windowsVirtualKeyCode": code}
        down = {"text": text} if text else {}
        self.ask("Input.dispatchKeyEvent", type="keyDown", **common, **down)
        self.ask("Input.dispatchKeyEvent", type="keyUp", **common)

    def picture(self, *, whole: bool = False) -> bytes:
        """PNG of the window, or of the whole page."""
        answer = self.ask("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        return base64.b64decode(answer["data"])


@contextlib.contextmanager
def browser() -> Iterator[Browser]:
    """A browser with an empty profile, gone at the end."""
    found = program()
    assert found is not None
    read_end, to = os.pipe()
    back, write_end = os.pipe()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        command = [found, *FLAGS, f"--user-data-dir={profile}", "about:blank"]
        # the browser reads commands from file 3 and answers on file 4
        shell = f'exec 3<&{read_end} 4>&{write_end}; exec "$@"'
        process = subprocess.Popen(
            ["/bin/bash", "-c", shell, "browser", *command],
            pass_fds=(read_end, write_end),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(read_end)
        os.close(write_end)
        try:
            yield Browser(process, to, back)
        finally:
            os.close(to)
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait(10)
            os.close(back)
