"""A headless browser driven through its own debugging pipe: no driver, no network port."""

import json
import os
import shutil
import subprocess
import tempfile
from base64 import b64decode
from pathlib import Path
from types import TracebackType
from typing import Any


def browser_program() -> str | None:
    """A Chromium-like browser of this machine."""
    names = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
    return next(filter(None, map(shutil.which, names)), None)


class Browser:
    """One page; collects console errors, exceptions and requests."""

    def __init__(self, program: str, size: tuple[int, int] = (1280, 900)) -> None:
        self._folder = tempfile.TemporaryDirectory()
        to_read, self._to = os.pipe()
        self._from, to_write = os.pipe()
        # The browser reads commands on file 3 and answers on file 4.
        command = f'exec "$0" "$@" 3<&{to_read} 4>&{to_write}'
        options = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--remote-debugging-pipe",
            "--no-first-run",
            f"--window-size={size[0]},{size[1]}",
            f"--user-data-dir={self._folder.name}",
        ]
        self._process = subprocess.Popen(
            ["bash", "-c", command, program, *options],
            pass_fds=(to_read, to_write),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(to_read)
        os.close(to_write)
        self._number, self._rest, self._session = 0, b"", ""
        self.errors: list[str] = []
        self.requests: list[str] = []
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        attached = self.call("Target.attachToTarget", targetId=target, flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def __enter__(self) -> "Browser":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        os.close(self._to)
        self._process.terminate()
        self._process.wait(20)
        os.close(self._from)
        self._folder.cleanup()

    def call(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Send a command and wait for its answer."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._to, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._number:
                assert "error" not in answer, answer
                result: dict[str, Any] = answer["result"]
                return result

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            data = os.read(self._from, 1 << 20)
            assert data, "the browser has stopped"
            self._rest += data
        first, self._rest = self._rest.split(b"\0", 1)
        message: dict[str, Any] = json.loads(first)
        self._note(message.get("method", ""), message.get("params", {}))
        return message

    def _note(self, method: str, about: dict[str, Any]) -> None:
        if method == "Runtime.exceptionThrown":
            self.errors.append(json.dumps(about["exceptionDetails"])[:600])
        elif method == "Runtime.consoleAPICalled" and about["type"] in ("error", "warning"):
            self.errors.append(json.dumps(about["args"])[:600])
        elif method == "Log.entryAdded" and about["entry"]["level"] in ("error", "warning"):
            self.errors.append(json.dumps(about["entry"])[:600])
        elif method == "Network.requestWillBeSent":
            self.requests.append(about["request"]["url"][:200])

    def open(self, path: Path) -> None:
        """Open a file and wait until it is loaded."""
        self.call("Page.navigate", url=path.resolve().as_uri())
        self.run("new Promise(done => document.readyState === 'complete' ? done() : "
                 "addEventListener('load', () => done()))")  # fmt: skip

    def run(self, script: str) -> Any:
        """Value of an expression on the page; promises are waited for."""
        found = self.call(
            "Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True
        )
        assert "exceptionDetails" not in found, found["exceptionDetails"]
        return found["result"].get("value")

    def wait(self, condition: str, seconds: float = 60.0) -> None:
        """Wait until an expression holds."""
        self.run(
            "new Promise((done, fail) => { const end = Date.now() + "
            f"{1000 * seconds}; (function look() {{ if ({condition}) done(); else if "
            "(Date.now() > end) fail(new Error('waited in vain')); else setTimeout(look, 30); })();"
            " })"
        )

    def mouse(self, kind: str, x: float, y: float, pressed: bool = False) -> None:
        """A mouse event: "mouseMoved", "mousePressed" or "mouseReleased" at page pixels."""
        self.call(
            "Input.dispatchMouseEvent",
            type=kind,
            x=x,
            y=y,
            button="left" if pressed or kind != "mouseMoved" else "none",
            buttons=int(pressed),
            clickCount=0 if kind == "mouseMoved" else 1,
        )

    def click(self, x: float, y: float) -> None:
        self.mouse("mousePressed", x, y, pressed=True)
        self.mouse("mouseReleased", x, y)

    def key(self, name: str, shift: bool = False) -> None:
        """Press and release a key that is no letter."""
        codes = {"ArrowLeft": 37, "ArrowUp": 38, "ArrowRight": 39, "ArrowDown": 40}
        code = codes.get(name, {"Enter": 13, "Tab": 9}.get(name, 0))
        for kind in ("keyDown", "keyUp"):
            self.call(
                "Input.dispatchKeyEvent",
                type=kind,
                key=name,
                code=name,
                windowsVirtualKeyCode=code,
                modifiers=8 if shift else 0,
            )

    def picture(self, path: Path, whole: bool = False) -> None:
        """Save what is seen as PNG."""
        shot = self.call("Page.captureScreenshot", captureBeyondViewport=whole)
        path.write_bytes(b64decode(shot["data"]))
