"""A page in a real browser: Chromium without a window, spoken to over its DevTools protocol."""

from __future__ import annotations

import base64
import contextlib
import json
import shutil
import subprocess
import time
from pathlib import Path
from urllib.request import urlopen

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
PROGRAM = next((found for n in NAMES if (found := shutil.which(n))), None)
_PATIENCE = 60.0


class Browser:
    """One tab of one browser; events are kept in the order they came.

    Parameters
    ----------
    folder : Path
        For the profile; nothing of the user's own browser is touched.
    """

    def __init__(self, folder: Path):
        import websocket

        flags = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
                 "--no-first-run", "--disable-background-networking", "--mute-audio",
                 "--remote-debugging-port=0", f"--user-data-dir={folder}"]
        self._process = subprocess.Popen([PROGRAM, *flags, "about:blank"],
                                         stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        port = self._port(folder / "DevToolsActivePort")
        with urlopen(f"http://127.0.0.1:{port}/json/list", timeout=_PATIENCE) as answer:
            tab = next(t for t in json.load(answer) if t["type"] == "page")
        self._line = websocket.create_connection(tab["webSocketDebuggerUrl"], timeout=_PATIENCE,
                                                 suppress_origin=True)
        self._sent, self.events = 0, []
        for domain in ("Page", "Runtime", "Log", "Network", "Accessibility"):
            self.ask(f"{domain}.enable")

    def _port(self, file: Path) -> str:
        end = time.monotonic() + _PATIENCE
        while time.monotonic() < end:
            with contextlib.suppress(OSError, IndexError):
                return file.read_text().split()[0]
            time.sleep(0.05)
        raise TimeoutError("the browser did not start")

    def ask(self, method: str, **given) -> dict:
        """Send one request and wait for its answer."""
        self._sent += 1
        self._line.send(json.dumps({"id": self._sent, "method": method, "params": given}))
        while True:
            said = json.loads(self._line.recv())
            if said.get("id") == self._sent:
                assert "error" not in said, said
                return said["result"]
            self.events.append(said)

    def open(self, page: Path, *, wide: int = 1280) -> None:
        """Load a page anew and wait until it is whole; earlier events are forgotten."""
        self.ask("Emulation.setDeviceMetricsOverride", width=wide, height=900,
                 deviceScaleFactor=1, mobile=False)
        self.ask("Page.navigate", url="about:blank")
        while not self.run("location.href === 'about:blank'"):
            time.sleep(0.05)
        self.events.clear()
        self.ask("Page.navigate", url=page.resolve().as_uri())
        place = page.resolve().as_uri()
        whole = f"document.readyState === 'complete' && location.href === '{place}'"
        end = time.monotonic() + _PATIENCE
        while not self.run(whole):
            assert time.monotonic() < end, "the page did not load"
            time.sleep(0.05)

    def run(self, script: str):
        """Value of a script in the page; promises are awaited."""
        found = self.ask("Runtime.evaluate", expression=script, awaitPromise=True,
                         returnByValue=True)
        assert "exceptionDetails" not in found, found
        return found["result"].get("value")

    def press(self, key: str) -> None:
        """Press a key where the page has its focus."""
        code = {"ArrowLeft": 37, "ArrowUp": 38, "ArrowRight": 39, "ArrowDown": 40, "Tab": 9}[key]
        for kind in ("keyDown", "keyUp"):
            self.ask("Input.dispatchKeyEvent", type=kind, key=key, code=key,
                     windowsVirtualKeyCode=code)

    def named(self) -> list[tuple[str, str]]:
        """Role and name of everything a screen reader meets."""
        nodes = self.ask("Accessibility.getFullAXTree")["nodes"]
        return [(n["role"]["value"], n.get("name", {}).get("value", "")) for n in nodes
                if not n["ignored"]]

    def printed(self) -> bytes:
        """The page as printed on A4, as PDF."""
        made = self.ask("Page.printToPDF", preferCSSPageSize=True, printBackground=True)
        return base64.b64decode(made["data"])

    def close(self) -> None:
        """End this browser."""
        with contextlib.suppress(Exception):
            self.ask("Browser.close")
        self._line.close()
        self._process.terminate()
        self._process.wait(timeout=_PATIENCE)
