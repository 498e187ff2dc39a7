"""Firefox without a window, spoken to in the open protocol that it brings along: a page to ask, to click, to type in.

Source: W3C WebDriver BiDi, Working Draft. The page answers to the few calls that tests of both browsers share.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.browser.conftest import missing

KEYS = {"Enter": "\ue007", "Tab": "\ue004", "Right": "\ue014", "Home": "\ue011"}
NOTED = ["log.entryAdded", "network.beforeRequestSent"]


class FirefoxPage:
    """One tab; `errors` and `requests` grow as answers come in."""

    def __init__(self, socket: Any) -> None:
        self._socket, self._sent = socket, 0
        self.errors: list[str] = []
        self.requests: list[str] = []
        self._send("session.new", capabilities={})
        self._send("session.subscribe", events=NOTED)
        # a tab of its own: in the first one the address bar keeps the focus, and no page ever has it
        self._tab = self._send("browsingContext.create", type="tab")["context"]

    def _send(self, method: str, **params: Any) -> Any:
        self._sent += 1
        self._socket.send(json.dumps({"id": self._sent, "method": method, "params": params}))
        while True:
            said = json.loads(self._socket.recv())
            if said.get("id") == self._sent:
                assert said["type"] == "success", said
                return said["result"]
            if said.get("method") == "log.entryAdded" and said["params"]["level"] == "error":
                self.errors.append(str(said["params"]["text"]))
            elif said.get("method") == "network.beforeRequestSent":
                self.requests.append(said["params"]["request"]["url"])

    def goto(self, url: str) -> None:
        self._send("browsingContext.navigate", context=self._tab, url=url, wait="complete")

    def evaluate(self, source: str, argument: object = None) -> Any:
        """The value of an expression, or of a function called with the argument; awaited."""
        asked = f"async text => {{ let found = ({source}); if (typeof found === 'function') found = found("
        asked += "JSON.parse(text)); return JSON.stringify((await found) ?? null); }"
        said = self._send(
            "script.callFunction",
            functionDeclaration=asked,
            arguments=[{"type": "string", "value": json.dumps(argument)}],
            target={"context": self._tab},
            awaitPromise=True,
        )
        assert said["type"] == "success", said["exceptionDetails"]["text"]
        return json.loads(said["result"]["value"])

    def wait_for_function(self, source: str, arg: object = None, timeout: float = 60_000) -> None:
        until = time.monotonic() + timeout / 1000
        while not self.evaluate(source, arg):
            assert time.monotonic() < until, f"waited {timeout / 1000:.0f} s in vain for {source}: {self.errors}"
            time.sleep(0.1)

    def wait_for_selector(self, selector: str, timeout: float = 60_000) -> None:
        self.wait_for_function("name => !!document.querySelector(name)", selector, timeout)

    def text(self, selector: str) -> str:
        return str(self.evaluate("name => document.querySelector(name).textContent", selector))

    def click(self, selector: str) -> None:
        """Press the mouse in the middle of an element."""
        middle = """name => { const element = document.querySelector(name);
            element.scrollIntoView({ block: "center", behavior: "instant" });
            const { x, y, width, height } = element.getBoundingClientRect();
            return [Math.round(x + width / 2), Math.round(y + height / 2)]; }"""
        x, y = self.evaluate(middle, selector)
        move = {"type": "pointerMove", "x": x, "y": y}
        self._act("pointer", [move, {"type": "pointerDown", "button": 0}, {"type": "pointerUp", "button": 0}])

    def type(self, *keys: str) -> None:
        """Press keys: letters, one after the other, or keys by name."""
        signs = [sign for key in keys for sign in ([KEYS[key]] if key in KEYS else key)]
        self._act("key", [{"type": kind, "value": sign} for sign in signs for kind in ("keyDown", "keyUp")])

    def _act(self, kind: str, actions: list[dict[str, Any]]) -> None:
        self._send("input.performActions", context=self._tab, actions=[{"type": kind, "id": kind, "actions": actions}])


@contextmanager
def firefox(home: Path) -> Iterator[FirefoxPage]:
    """A page in a Firefox of its own, whose profile is this folder; it ends with the block."""
    found = next(filter(None, map(shutil.which, ("firefox-esr", "firefox"))), None)
    if not found:
        missing("Firefox (firefox-esr)")
    import websocket

    command = [str(found), "--headless", "--no-remote", "--profile", str(home), "--remote-debugging-port=0"]
    log = home / "firefox.log"
    with log.open("w") as said:
        process = subprocess.Popen(command, env=os.environ | {"HOME": str(home)}, stdout=said, stderr=said)
    try:
        until = time.monotonic() + 60
        while not (address := re.search(r"WebDriver BiDi listening on (ws://\S+)", log.read_text())):
            assert process.poll() is None, log.read_text()
            assert time.monotonic() < until, log.read_text()
            time.sleep(0.1)
        socket = websocket.create_connection(f"{address[1]}/session", suppress_origin=True, timeout=60)
        yield FirefoxPage(socket)
        socket.close()
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(20)
