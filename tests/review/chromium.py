"""A real Chromium, spoken to over its DevTools protocol: pages are opened, touched and looked at as a reader would."""

import base64
import json
import shutil
import subprocess
import time
import urllib.request
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
import websocket
from numpy.typing import NDArray

_PATIENCE_S = 120.0


class Browser:
    """One tab. `errors` gathers what a page writes to the console as warning or error, or throws; `requests` every
    address that it asks for but its own file."""

    def __init__(self, profile: Path, wide: int = 1200, tall: int = 900) -> None:
        program = shutil.which("chromium")
        assert program, "chromium is missing: install it to run this test"
        self.errors: list[str] = []
        self.requests: list[str] = []
        self._events: list[str] = []
        self._profile = profile
        options = ("headless", "no-sandbox", "disable-gpu", "no-first-run", "disable-background-networking",
                   "disable-component-update", "disable-sync", "hide-scrollbars", "remote-debugging-port=0",
                   f"user-data-dir={profile}")  # fmt: skip
        self._process = subprocess.Popen(
            [program, *(f"--{option}" for option in options), "about:blank"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        try:
            self._socket = websocket.create_connection(self._address(), suppress_origin=True, timeout=_PATIENCE_S)
        except BaseException:
            self._process.kill()
            self._process.wait()
            raise
        self._number = 0
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")
        self.size(wide, tall)

    def _address(self) -> str:
        port_file, deadline = self._profile / "DevToolsActivePort", time.monotonic() + _PATIENCE_S
        while not (port_file.is_file() and port_file.read_text().count("\n")):
            assert self._process.poll() is None and time.monotonic() < deadline, "chromium did not start"
            time.sleep(0.05)
        port = port_file.read_text().splitlines()[0]
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/json/list") as answer:
            targets = json.load(answer)
        return str(next(one["webSocketDebuggerUrl"] for one in targets if one["type"] == "page"))

    def __enter__(self) -> "Browser":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._socket.close()
        self._process.terminate()
        try:
            self._process.wait(10.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """One command and its answer; AssertionError if it is refused."""
        self._number += 1
        self._socket.send(json.dumps({"id": self._number, "method": method, "params": params}))
        while True:
            message = json.loads(self._socket.recv())
            if message.get("id") == self._number:
                assert "error" not in message, message
                return message["result"]
            self._note(message)

    def _note(self, message: dict[str, Any]) -> None:
        method, params = message["method"], message["params"]
        self._events.append(method)
        if method == "Runtime.exceptionThrown":
            self.errors.append(json.dumps(params["exceptionDetails"]))
        elif method == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning", "assert"):
            self.errors.append(json.dumps(params["args"]))
        elif method == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
            self.errors.append(json.dumps(params["entry"]))
        elif method == "Network.requestWillBeSent" and params["request"]["url"].partition("#")[0] != self._page:
            self.requests.append(params["request"]["url"])

    _page = "about:blank"
    _scripted = True

    def open(self, path: Path, anchor: str = "") -> None:
        """Load a file, and wait until it is there and has been painted."""
        self._page, self._events = path.as_uri(), []
        self.call("Page.navigate", url="about:blank")
        self.call("Page.navigate", url=self._page + anchor)
        deadline = time.monotonic() + _PATIENCE_S
        while self.run("location.href + ' ' + document.readyState") != f"{self._page}{anchor} complete":
            assert time.monotonic() < deadline, f"{path} did not load"
            time.sleep(0.02)
        self.painted()

    def run(self, script: str) -> Any:
        """The value of an expression on the page; a promise is waited for."""
        answer = self.call("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def painted(self) -> None:
        """Wait for two more frames: what was asked for has been drawn by then."""
        if self._scripted:
            self.run("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(1))))")

    def size(self, wide: int, tall: int, ratio: float = 1.0, phone: bool = False) -> None:
        """The window [CSS pixels]; `phone` with a finger instead of a mouse."""
        self.call("Emulation.setDeviceMetricsOverride", width=wide, height=tall, deviceScaleFactor=ratio, mobile=phone)
        self.call("Emulation.setTouchEmulationEnabled", enabled=phone, maxTouchPoints=2)

    def dark(self, on: bool) -> None:
        """Prefer the dark scheme, or the light one."""
        features = [{"name": "prefers-color-scheme", "value": "dark" if on else "light"}]
        self.call("Emulation.setEmulatedMedia", features=features)
        self.painted()

    def scripts(self, on: bool) -> None:
        """Allow scripts, or do without."""
        self._scripted = on
        self.call("Emulation.setScriptExecutionDisabled", value=not on)

    def middle(self, selector: str, across: float = 0.5) -> tuple[float, float]:
        """A point on the first such element, brought into view: `across` of its width, half its height."""
        box = self.run(
            f"(() => {{ const e = document.querySelector({selector!r}); e.scrollIntoView({{block: 'center'}});"
            "const b = e.getBoundingClientRect(); return [b.x, b.y, b.width, b.height] })()"
        )
        return box[0] + box[2] * across, box[1] + box[3] / 2

    def mouse(self, kind: str, x: float, y: float, **more: Any) -> None:
        """A mouse event: mouseMoved, mousePressed, mouseReleased, mouseWheel."""
        self.call("Input.dispatchMouseEvent", type=kind, x=x, y=y, **more)
        self.painted()

    def click(self, selector: str) -> None:
        """A press and a release in the middle of an element."""
        x, y = self.middle(selector)
        for kind in ("mousePressed", "mouseReleased"):
            self.mouse(kind, x, y, button="left", clickCount=1)

    def key(self, name: str, shift: bool = False) -> None:
        """A key pressed and released."""
        text = {"text": name} if len(name) == 1 else {}
        for kind in ("keyDown", "keyUp"):
            self.call("Input.dispatchKeyEvent", type=kind, key=name, modifiers=8 if shift else 0,
                      **(text if kind == "keyDown" else {}))  # fmt: skip
        self.painted()

    def touch(self, kind: str, *points: tuple[float, float]) -> None:
        """Fingers on the screen: touchStart, touchMove, touchEnd."""
        at = [{"x": x, "y": y, "id": index} for index, (x, y) in enumerate(points)]
        self.call("Input.dispatchTouchEvent", type=kind, touchPoints=at)
        self.painted()

    def view(self, chart: str = "figure.chart") -> tuple[float, float]:
        """What a chart shows: from, to [s]."""
        begin, end = self.run(f"(d => [+d.from, +d.to])(document.querySelector({chart!r}).dataset)")
        return begin, end

    def readout(self) -> str:
        """What the first chart says of the cursor."""
        return str(self.run("document.querySelector('.readout').textContent"))

    def pixels(self, selector: str, x: int = 0, y: int = 0, wide: int = 0, tall: int = 0) -> NDArray[np.uint8]:
        """Red, green, blue and alpha of a canvas, or of a part of it, a line a row."""
        data = self.run(
            f"(() => {{ const c = document.querySelector({selector!r}), o = document.createElement('canvas');"
            f"o.width = {wide} || c.width; o.height = {tall} || c.height;"
            f"const p = o.getContext('2d', {{ willReadFrequently: true }}); p.drawImage(c, -{x}, -{y});"
            "const d = p.getImageData(0, 0, o.width, o.height).data; let s = '';"
            "for (let i = 0; i < d.length; i += 8192) s += String.fromCharCode(...d.subarray(i, i + 8192));"
            "return o.width + ' ' + btoa(s) })()"
        )
        across, _, packed = data.partition(" ")
        return np.frombuffer(base64.b64decode(packed), np.uint8).reshape(-1, int(across), 4)

    def screenshot(self, path: Path, whole: bool = False) -> None:
        """A picture of what is on view, or of the whole page."""
        data = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=whole)["data"]
        path.write_bytes(base64.b64decode(data))

    def pdf(self) -> bytes:
        """The page as it prints on A4."""
        data = self.call("Page.printToPDF", paperWidth=8.27, paperHeight=11.69, preferCSSPageSize=True)["data"]
        return base64.b64decode(data)
