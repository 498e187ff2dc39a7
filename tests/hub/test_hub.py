"""A real Hub on 127.0.0.1 with three learners: each runs a chapter, nobody reads another's, what idles ends.

It needs root, node's configurable-http-proxy, and a machine that lets a test mount its own accounts and homes; without
them it is skipped, where CI=true it fails.
"""

from __future__ import annotations

import json
import re
import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import psutil
import pytest

from harmonylib.classroom.shipped import FIRST_CHAPTER
from tests.browser.conftest import Watched, chromium, missing, opened  # noqa: F401
from tests.hub.running import PASSWORD, Hub, class_server, fault, lacking, new_kernel, seats, signed_in, start, until

pytestmark = pytest.mark.slow

LEARNERS = ("ada", "ben", "cleo")
IDLE_S = 6


@pytest.fixture(scope="module")
def hub() -> Iterator[Hub]:
    """The class server with its three learners."""
    if lacking():
        missing(lacking())
    pytest.importorskip("firstuseauthenticator")
    with class_server(LEARNERS, '[paper]\npaper = "us-letter"\n') as started:
        yield started


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
        kernel = new_kernel(hub, name)
        assert [found for cell in code if (found := fault(kernel, cell["source"]))] == []
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
        "assert section('paper') == {'paper': 'us-letter'}, section('paper')\n"
    )
    ben = next(hub.homes.glob("ben")).stat().st_uid
    code = code.replace("FOLDER", repr(str(hub.folder / "private"))).replace("RUN", repr(f"/tmp/block-chords-{ben}"))
    kernel = new_kernel(hub, "ada")
    assert fault(kernel, code) == ""
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
        session = signed_in(hub.address, name, password)
        assert session.get(f"{hub.address}/hub/token", timeout=30).url.startswith(f"{hub.address}/hub/login"), name
    password = re.search(r"The password of mara is (\S+) ", hub.said.read_text())
    assert password
    session = signed_in(hub.address, "mara", password[1])
    assert session.get(f"{hub.address}/hub/admin", timeout=30).status_code == 200


def test_a_teacher_reads_what_learners_made(hub: Hub) -> None:
    group = (hub.homes / "ada").stat().st_gid
    made = [path for path in (hub.homes / "ada" / "block-chords").rglob("*") if not path.is_symlink()]
    assert made
    assert {path.stat().st_gid for path in made} == {group}
    assert all(path.stat().st_mode & 0o007 == 0 for path in made)
    assert all(path.stat().st_mode & 0o040 for path in made if path.is_file())


def test_it_stops_clean_and_what_idles_is_stopped_after_the_next_start(hub: Hub) -> None:
    everything = psutil.Process(hub.process.pid).children(recursive=True)
    assert len(seats(hub)) >= len(LEARNERS)
    begun = time.monotonic()
    hub.process.send_signal(signal.SIGTERM)
    assert hub.process.wait(60) in (0, -signal.SIGTERM, 128 + signal.SIGTERM)
    assert psutil.wait_procs(everything, timeout=10)[1] == []
    assert time.monotonic() - begun < 40
    configuration = hub.folder / "jupyterhub_config.py"
    text = configuration.read_text()
    configuration.write_text(text.replace("IDLE_MINUTES = 90", f"IDLE_MINUTES = {IDLE_S / 60}"))
    hub.process = start(hub.folder.parent)
    hub.answers()
    assert hub.said.read_text().count("The password of mara is") == 1
    assert hub.asked("/hub/api/users/ada/server", "ada", "POST").status_code in (201, 202)
    until(lambda: seats(hub), 60, "the server of ada")
    until(lambda: not seats(hub), IDLE_S + 150, "the end of an idle server")
