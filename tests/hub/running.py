"""A class server started for tests and for the benchmark, in a world of its own accounts; and learners who use it.

It needs root, node's configurable-http-proxy, and a machine that lets a process mount its own accounts and homes.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psutil
import requests
from websocket import create_connection

from harmonylib.classroom.shipped import FIRST_CHAPTER
from tests.browser.conftest import free_port

ROOT = Path(__file__).resolve().parents[2]
PASSWORD = "drop-two-{}"
FIRST_ACCOUNT = 61000


def lacking() -> str:
    """What keeps a class server from being started here, or nothing."""
    if os.name != "posix" or os.geteuid() != 0:
        return "root"
    if subprocess.run(["unshare", "--mount", "true"], check=False).returncode:
        return "a root that may mount"
    return "" if shutil.which("configurable-http-proxy") else "configurable-http-proxy"


@dataclass
class Hub:
    """The running Hub: its folder, its address, the homes as seen from outside, and a token for each learner."""

    process: subprocess.Popen[str]
    folder: Path
    address: str
    homes: Path
    said: Path
    tokens: dict[str, str] = field(default_factory=dict)

    def answers(self) -> None:
        """Wait until the sign-in page is there."""
        until(lambda: requests.get(f"{self.address}/hub/login", timeout=5).ok, 120, "the sign-in page")

    def asked(self, path: str, name: str, method: str = "GET", data: Any = None) -> requests.Response:
        """What the server answers to a learner."""
        headers = {"Authorization": f"token {self.tokens[name]}"}
        return requests.request(method, self.address + path, headers=headers, json=data, timeout=120)


def until(true: Callable[[], Any], seconds: float, what: str) -> Any:
    """Wait until something is true, and give what it came to."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            if found := true():
                return found
        except requests.RequestException:
            pass
        time.sleep(0.3)
    raise AssertionError(f"{what} did not come within {seconds:.0f} s")


def signed_in(address: str, name: str, password: str) -> requests.Session:
    """What a browser holds after the sign-in page."""
    session = requests.Session()
    session.get(f"{address}/hub/login", timeout=60)
    form = {"username": name, "password": password, "_xsrf": session.cookies.get("_xsrf", path="/hub/")}
    session.post(f"{address}/hub/login?next=/hub/token", data=form, timeout=60)
    return session


def _token(address: str, name: str) -> str:
    session = signed_in(address, name, PASSWORD.format(name))
    headers = {"X-XSRFToken": str(session.cookies.get("_xsrf", path="/hub/")), "Referer": f"{address}/hub/token"}
    made = session.post(f"{address}/hub/api/users/{name}/tokens", json={}, headers=headers, timeout=60)
    assert made.status_code == 201, made.text
    return str(made.json()["token"])


def start(scratch: Path) -> subprocess.Popen[str]:
    """The class server's own start command, in a world of its own accounts."""
    command = ["unshare", "--mount", "sh", str(ROOT / "tests/hub/sandbox.sh"), str(scratch / "world"), sys.base_prefix]
    command.append(str(scratch / "class" / "start.sh"))
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    with (scratch / "said").open("a") as log:
        return subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT, text=True, env=environment)


@contextmanager
def class_server(learners: Sequence[str], settings: str = "") -> Iterator[Hub]:
    """The class server as the teacher's page has it started, with a token for each learner."""
    scratch = Path("/tmp") / f"hub-{uuid.uuid4().hex[:8]}"  # every account can open it, unlike pytest's own folders
    scratch.mkdir(mode=0o755)
    folder, port = scratch / "class", free_port()
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    subprocess.run([sys.executable, "-m", "harmonylib", "classroom", str(folder)], check=True, env=environment)
    (folder / "class.txt").write_text("teacher mara\n" + "\n".join(learners))
    if settings:
        (folder / "class.toml").write_text(settings)
    configuration = folder / "jupyterhub_config.py"
    text = configuration.read_text()
    configuration.write_text(text.replace("PORT = 8000", f"PORT = {port}"))
    started = Hub(start(scratch), folder, f"http://127.0.0.1:{port}", scratch / "world/home", scratch / "said")
    try:
        started.answers()
        started.tokens = {name: _token(started.address, name) for name in learners}
        yield started
    finally:
        print(started.said.read_text(), file=sys.stderr)
        started.process.terminate()
        started.process.wait(60)
        for left in [*Path("/tmp").glob("block-chords-61[0-9][0-9][0-9]"), scratch]:
            shutil.rmtree(left)


def new_kernel(hub: Hub, name: str) -> Any:
    """A new kernel of the learner's, as its websocket."""
    made = hub.asked(f"/user/{name}/api/kernels", name, "POST", {"path": FIRST_CHAPTER})
    assert made.status_code == 201, made.text
    address = f"{hub.address}/user/{name}/api/kernels/{made.json()['id']}/channels".replace("http", "ws", 1)
    return create_connection(address, header={"Authorization": f"token {hub.tokens[name]}"}, timeout=180)


def fault(kernel: Any, code: str) -> str:
    """Run a cell; nothing, or what went wrong."""
    number = uuid.uuid4().hex
    header = {"msg_id": number, "msg_type": "execute_request", "session": number, "username": "", "version": "5.3"}
    request = {"code": code, "silent": False, "store_history": False, "allow_stdin": False}
    message = {"header": header, "parent_header": {}, "metadata": {}, "content": request, "channel": "shell"}
    kernel.send(json.dumps(message))
    while True:
        reply = json.loads(kernel.recv())
        if reply["parent_header"].get("msg_id") == number and reply["msg_type"] == "execute_reply":
            said = reply["content"]
            return "" if said["status"] == "ok" else f"{code[:80]}: {said.get('ename')}: {said.get('evalue')}"


def seats(hub: Hub) -> list[psutil.Process]:
    """What runs for learners."""
    running = psutil.Process(hub.process.pid).children(recursive=True)
    return [process for process in running if process.uids().real >= FIRST_ACCOUNT]
