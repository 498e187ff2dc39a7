"""A real Hub on 127.0.0.1 with three learners: each runs a chapter, nobody reads another's, what idles ends.

It needs root, node's configurable-http-proxy, and a machine that lets a test mount its own accounts and homes; without
them it is skipped, where CI=true it fails.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psutil
import pytest
import requests
from websocket import create_connection

from harmonylib.classroom.shipped import FIRST_CHAPTER
from tests.browser.conftest import Watched, chromium, free_port, missing, opened  # noqa: F401

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
LEARNERS = ("ada", "ben", "cleo")
PASSWORD = "drop-two-{}"
IDLE_S = 6


@dataclass
class Hub:
    """The running Hub: its folder, its address, the homes as seen from outside, and a token for each learner."""

    process: subprocess.Popen[str]
    folder: Path
    address: str
    homes: Path
    said: Path
    tokens: dict[str, str]

    def answers(self) -> None:
        """Wait until the sign-in page is there."""
        _until(lambda: requests.get(f"{self.address}/hub/login", timeout=5).ok, 120, "the sign-in page")

    def asked(self, path: str, name: str, method: str = "GET", data: Any = None) -> requests.Response:
        """What the server answers to a learner."""
        headers = {"Authorization": f"token {self.tokens[name]}"}
        return requests.request(method, self.address + path, headers=headers, json=data, timeout=120)


def _until(true: Callable[[], Any], seconds: float, what: str) -> Any:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            if found := true():
                return found
        except requests.RequestException:
            pass
        time.sleep(0.3)
    raise AssertionError(f"{what} did not come within {seconds:.0f} s")


def _signed_in(address: str, name: str, password: str) -> requests.Session:
    session = requests.Session()
    session.get(f"{address}/hub/login", timeout=60)
    form = {"username": name, "password": password, "_xsrf": session.cookies.get("_xsrf", path="/hub/")}
    session.post(f"{address}/hub/login?next=/hub/token", data=form, timeout=60)
    return session


def _token(address: str, name: str) -> str:
    session = _signed_in(address, name, PASSWORD.format(name))
    headers = {"X-XSRFToken": str(session.cookies.get("_xsrf", path="/hub/")), "Referer": f"{address}/hub/token"}
    made = session.post(f"{address}/hub/api/users/{name}/tokens", json={}, headers=headers, timeout=60)
    assert made.status_code == 201, made.text
    return str(made.json()["token"])


def _started(scratch: Path) -> subprocess.Popen[str]:
    """The class server's own start command, in a world of its own accounts."""
    command = ["unshare", "--mount", "sh", str(ROOT / "tests/hub/sandbox.sh"), str(scratch / "world"), sys.base_prefix]
    command.append(str(scratch / "class" / "start.sh"))
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    with (scratch / "said").open("a") as log:
        return subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT, text=True, env=environment)


@pytest.fixture(scope="module")
def hub(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hub]:
    """The class server as the teacher's page has it started, in a world of its own accounts."""
    if (
        os.name != "posix"
        or os.geteuid() != 0
        or subprocess.run(["unshare", "--mount", "true"], check=False).returncode
    ):
        missing("a root that may mount")
    pytest.importorskip("firstuseauthenticator")
    if not shutil.which("configurable-http-proxy"):
        missing("configurable-http-proxy")
    scratch = Path("/tmp") / f"hub-{uuid.uuid4().hex[:8]}"  # every account can open it, unlike pytest's own folders
    scratch.mkdir(mode=0o755)
    folder, port = scratch / "class", free_port()
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    subprocess.run([sys.executable, "-m", "harmonylib", "classroom", str(folder)], check=True, env=environment)
    (folder / "class.txt").write_text("teacher mara\n" + "\n".join(LEARNERS))
    (folder / "class.toml").write_text('[paper]\npaper = "letter"\n')
    configuration = folder / "jupyterhub_config.py"
    text = configuration.read_text()
    configuration.write_text(text.replace("PORT = 8000", f"PORT = {port}"))
    started = Hub(_started(scratch), folder, f"http://127.0.0.1:{port}", scratch / "world/home", scratch / "said", {})
    try:
        started.answers()
        started.tokens = {name: _token(started.address, name) for name in LEARNERS}
        yield started
    finally:
        print(started.said.read_text())
        started.process.terminate()
        started.process.wait(60)
        for left in [*Path("/tmp").glob("block-chords-61[0-9][0-9][0-9]"), scratch]:
            shutil.rmtree(left)


def _kernel(hub: Hub, name: str) -> Any:
    """A new kernel of the learner's, as its websocket."""
    made = hub.asked(f"/user/{name}/api/kernels", name, "POST", {"path": FIRST_CHAPTER})
    assert made.status_code == 201, made.text
    address = f"{hub.address}/user/{name}/api/kernels/{made.json()['id']}/channels".replace("http", "ws", 1)
    return create_connection(address, header={"Authorization": f"token {hub.tokens[name]}"}, timeout=180)


def _fault(kernel: Any, code: str) -> str:
    """Run a cell; nothing, or what went wrong."""
    number = uuid.uuid4().hex
    header = {"msg_id": number, "msg_type": "execute_request", "session": number, "username": "", "version": "5.3"}
    request = {"code": code, "silent": False, "store_history": False, "allow_stdin": False}
    message = {"header": header, "parent_header": {}, "metadata": {}, "content": request, "channel": "shell"}
    kernel.send(json.dumps(message))
    while True:
        reply = json.loads(kernel.recv())
        if reply["parent_header"].get("msg_id") == number and reply["msg_type"] == "execute_reply":
            status = reply["content"]["status"]
            return "" if status == "ok" else f"{code[:80]}: {reply['content']}"


def test_servers_start_before_class(hub: Hub) -> None:
    done = subprocess.run([str(hub.folder / "servers.sh")], capture_output=True, text=True, check=True, timeout=300)
    assert done.stdout.splitlines() == [f"{name}: ready" for name in ("mara", *LEARNERS)]
    for name in LEARNERS:
        assert hub.asked(f"/user/{name}/api/status", name).ok


def test_each_learner_opens_and_runs_a_chapter_whose_pictures_are_trusted(hub: Hub) -> None:
    for name in LEARNERS:
        content = hub.asked(f"/user/{name}/api/contents/{FIRST_CHAPTER}", name).json()["content"]
        code = [cell for cell in content["cells"] if cell["cell_type"] == "code"]
        assert code
        assert all(cell["metadata"]["trusted"] for cell in code)
        kernel = _kernel(hub, name)
        assert [fault for cell in code if (fault := _fault(kernel, cell["source"]))] == []
        kernel.close()


def test_one_learner_reads_nothing_of_another(hub: Hub) -> None:
    for path in ("/user/ben/api/contents", f"/user/ben/files/{FIRST_CHAPTER}", "/user/ben/lab", "/hub/api/users/ben"):
        answer = hub.asked(path, "ada")
        assert answer.status_code in (403, 404), path
        assert "cell_type" not in answer.text
    assert hub.asked("/hub/api/users", "ada").status_code == 403
    code = (
        "import os, glob\n"
        "for place in ('/home/ben', '/home/ben/block-chords/00_start_here.ipynb', '/home/mara', FOLDER, RUN):\n"
        "    for way in (os.listdir, open):\n"
        "        try:\n            way(place)\n"
        "        except PermissionError:\n            pass\n"
        "        except (NotADirectoryError, IsADirectoryError):\n            raise AssertionError(place)\n"
        "        else:\n            raise AssertionError(place)\n"
        "assert os.geteuid() >= 61000 and os.umask(0o027) == 0o027\n"
        "from harmonylib.settings import section\n"
        "assert section('paper') == {'paper': 'letter'}, section('paper')\n"
    )
    ben = next(hub.homes.glob("ben")).stat().st_uid
    code = code.replace("FOLDER", repr(str(hub.folder / "private"))).replace("RUN", repr(f"/tmp/block-chords-{ben}"))
    kernel = _kernel(hub, "ada")
    assert _fault(kernel, code) == ""
    kernel.close()


def test_kernels_talk_through_files_that_nobody_else_opens(hub: Hub) -> None:
    """The one port a kernel opens takes what its own subprocesses print, and only with a key."""
    running = psutil.Process(hub.process.pid).children(recursive=True)
    kernels = [process for process in running if "ipykernel_launcher" in process.cmdline()]
    assert len(kernels) >= len(LEARNERS)
    for kernel in kernels:
        connection = Path(kernel.cmdline()[-1])
        assert json.loads(connection.read_bytes())["transport"] == "ipc"
        assert connection.parent.stat().st_mode & 0o777 == 0o700
        assert connection.parent.stat().st_uid == kernel.uids().real >= 61000
        listening = [at for at in kernel.net_connections("tcp") if at.status == "LISTEN"]
        assert [at.laddr.ip for at in listening] in ([], ["127.0.0.1"])


def test_no_request_goes_outside_and_pictures_show(hub: Hub, opened: Callable[..., Watched]) -> None:  # noqa: F811
    watched = opened(f"{hub.address}/hub/user-redirect/lab/tree/{FIRST_CHAPTER}")
    page = watched.page
    page.fill("input[name=username]", "cleo")
    page.fill("input[name=password]", PASSWORD.format("cleo"))
    page.click("input[type=submit], button[type=submit]")
    page.wait_for_selector(".jp-Notebook .jp-OutputArea-output svg, .jp-OutputArea-output img", timeout=120_000)
    assert FIRST_CHAPTER in page.title() or FIRST_CHAPTER in page.url
    assert watched.outside == []
    assert not page.query_selector(".jp-Notification, .Toastify__toast"), "no question about news"


def test_a_stranger_and_a_claimed_teacher_stay_outside(hub: Hub) -> None:
    for name, password in (("mara", "i-was-first"), ("zoe", "not-in-class"), ("ada", "wrong-password")):
        session = _signed_in(hub.address, name, password)
        assert session.get(f"{hub.address}/hub/token", timeout=30).url.startswith(f"{hub.address}/hub/login"), name
    password = re.search(r"The password of mara is (\S+) ", hub.said.read_text())
    assert password
    session = _signed_in(hub.address, "mara", password[1])
    assert session.get(f"{hub.address}/hub/admin", timeout=30).status_code == 200


def test_a_teacher_reads_what_learners_made(hub: Hub) -> None:
    group = (hub.homes / "ada").stat().st_gid
    made = [path for path in (hub.homes / "ada" / "block-chords").rglob("*") if not path.is_symlink()]
    assert made
    assert {path.stat().st_gid for path in made} == {group}
    assert all(path.stat().st_mode & 0o007 == 0 for path in made)
    assert all(path.stat().st_mode & 0o040 for path in made if path.is_file())


def _seats(hub: Hub) -> list[psutil.Process]:
    """What runs for learners."""
    running = psutil.Process(hub.process.pid).children(recursive=True)
    return [process for process in running if process.uids().real >= 61000]


def test_it_stops_clean_and_what_idles_is_stopped_after_the_next_start(hub: Hub) -> None:
    everything = psutil.Process(hub.process.pid).children(recursive=True)
    assert len(_seats(hub)) >= len(LEARNERS)
    start = time.monotonic()
    hub.process.send_signal(signal.SIGTERM)
    assert hub.process.wait(60) in (0, -signal.SIGTERM, 128 + signal.SIGTERM)
    assert psutil.wait_procs(everything, timeout=10)[1] == []
    assert time.monotonic() - start < 40
    configuration = hub.folder / "jupyterhub_config.py"
    text = configuration.read_text()
    configuration.write_text(text.replace("IDLE_MINUTES = 90", f"IDLE_MINUTES = {IDLE_S / 60}"))
    hub.process = _started(hub.folder.parent)
    hub.answers()
    assert hub.said.read_text().count("The password of mara is") == 1
    assert hub.asked("/hub/api/users/ada/server", "ada", "POST").status_code in (201, 202)
    _until(lambda: _seats(hub), 60, "the server of ada")
    _until(lambda: not _seats(hub), IDLE_S + 150, "the end of an idle server")
