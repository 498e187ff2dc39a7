"""The course opened in JupyterLab: where it is in one line, no question about news, and nothing left when it ends."""

import asyncio
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import nbformat
import psutil
import pytest
from jupyter_server.services.contents.largefilemanager import AsyncLargeFileManager

from harmonylib.__main__ import main
from harmonylib.classroom import opening, stilled
from harmonylib.classroom.copies import Copy
from harmonylib.classroom.opening import LAB, check_root, told
from harmonylib.classroom.shipped import course_files, course_folder
from harmonylib.classroom.stilled import VIEW
from harmonylib.errors import HarmonyError
from tests.browser.conftest import free_port

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (["--port", "70000"], "port 70000: choose one from 1 to 65535"),
        (["--here", "--reset", "1"], "--here opens the course itself"),
        (["--here", "--folder", "x"], "--here opens the course itself"),
        (["chapter"], "'chapter': only what is meant for JupyterLab stands here, after --"),
        (["--projector", "--", "--ip=0.0.0.0"], "'--ip=0.0.0.0': only what is meant for JupyterLab"),
        (["--allow-root", "--reset", "77"], "there is no chapter 77: choose one from 0 to 8"),
    ],
)
def test_what_cannot_serve_gets_one_line(
    arguments: list[str],
    line: str,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["course", *arguments]) == 2
    heard = capsys.readouterr()
    assert heard.out == ""
    assert heard.err.startswith(f"harmonylib: {line}")
    assert heard.err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_root_is_told_and_goes_on_when_it_is_meant(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 0, raising=False)
    with pytest.raises(HarmonyError, match="you are root, .* say --allow-root where that is meant"):
        check_root(False)
    check_root(True)
    monkeypatch.setattr(os, "geteuid", lambda: 1000, raising=False)
    check_root(False)


@pytest.mark.parametrize("arguments", [["--allow-root"], ["--", "--allow-root"], ["--here", "--allow-root"]])
def test_jupyter_is_given_what_stands_after_the_dashes(
    arguments: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JUPYTER_DATA_DIR", str(tmp_path / "jupyter"))
    monkeypatch.chdir(tmp_path)
    given: list[Any] = []
    monkeypatch.setattr(opening, "open_lab", lambda folder, **how: given.append((folder, how["more"])))
    assert main(["course", "--no-browser", *arguments]) == 0
    assert given == [(course_folder() if "--here" in arguments else tmp_path / "block-chords", ["--allow-root"])]
    assert (tmp_path / "block-chords").exists() == ("--here" not in arguments)


def test_the_learner_is_told_what_was_done_with_the_files() -> None:
    done = Copy(Path("mine"), ("a", "b"), (("c", "new_c"),), (("a", "2026-01-31_a"),))
    assert told(done) == [
        "2 files of the course laid into mine.",
        "Note: your a is kept as 2026-01-31_a.",
        "Note: your c was left as it is; the newer one is new_c.",
    ]
    assert told(Copy(Path("mine"))) == []


def test_nobody_is_asked_about_news() -> None:
    settings = json.loads((LAB / "labconfig" / "default_setting_overrides.json").read_text())
    assert settings["@jupyterlab/apputils-extension:notification"] == {"fetchNews": "false", "checkForUpdates": False}


def test_a_notebook_without_a_kernel_shows_what_is_stored_beside_its_widgets(tmp_path: Path) -> None:
    """With one it keeps its widgets, and the file is never changed; the course's own settings ask for it."""
    data = {VIEW: {"model_id": "1"}, "text/html": "<p>Spell C7.</p>", "text/plain": "Spell C7."}
    shown = [nbformat.v4.new_output("display_data", data), nbformat.v4.new_output("display_data", {VIEW: {}})]
    cells = [nbformat.v4.new_markdown_cell("a"), nbformat.v4.new_code_cell("spell('C7')", outputs=shown)]
    nbformat.write(nbformat.v4.new_notebook(cells=cells), tmp_path / "a.ipynb")
    before = (tmp_path / "a.ipynb").read_bytes()
    running: list[dict[str, str]] = []
    sessions = SimpleNamespace(list_sessions=lambda: running)
    manager = AsyncLargeFileManager(root_dir=str(tmp_path))
    (point,) = stilled._jupyter_server_extension_points()
    wanted = json.loads((LAB / "jupyter_server_config.json").read_text())["ServerApp"]["jpserver_extensions"]
    assert wanted == {point["module"]: True} == {stilled.__name__: True}
    stilled._load_jupyter_server_extension(SimpleNamespace(contents_manager=manager, session_manager=sessions))

    def types() -> list[set[str]]:
        model = asyncio.run(manager.get("a.ipynb"))
        return [set(output["data"]) for output in model["content"]["cells"][1]["outputs"]]

    assert types() == [{"text/html", "text/plain"}, {VIEW}]
    running.append({"path": "/a.ipynb"})
    assert types() == [set(data), {VIEW}]
    assert asyncio.run(manager.get("a.ipynb", content=False))["content"] is None
    assert (tmp_path / "a.ipynb").read_bytes() == before


@pytest.fixture
def course(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[str], str, dict[str, str]]]:
    """The course as it is started by a person, at a port that is in use, without a browser: process and line."""
    port = free_port()
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", port))
        taken.listen()
        folders = {f"JUPYTER_{kind}_DIR": str(tmp_path / kind) for kind in ("CONFIG", "DATA", "RUNTIME")}
        environment = os.environ | {"PYTHONPATH": str(ROOT), "BROWSER": "no-such-browser", **folders}
        command = [sys.executable, "-m", "harmonylib", "course", "--allow-root", "--port", str(port)]
        process = subprocess.Popen(
            [*command, "--", "--IdentityProvider.token=secret"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=tmp_path,
            env=environment,
        )
        assert process.stdout is not None
        laid, line = process.stdout.readline(), process.stdout.readline()
        assert (
            laid == f"{len(course_files(course_folder()))} files of the course laid into {tmp_path / 'block-chords'}.\n"
        )
        yield process, line, {"port": str(port)}
        process.kill()
        process.communicate()


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="sends the signal that a service manager sends")
def test_one_line_says_where_it_is_and_kernels_end_with_it(
    course: tuple[subprocess.Popen[str], str, dict[str, str]],
) -> None:
    process, line, taken = course
    found = re.fullmatch(
        r"The course is at (http://127\.0\.0\.1:(\d+)/)lab/tree/00_start_here\.ipynb\?token=\.\.\. \(\S+block-chords\)"
        r"; Ctrl\+C here stops it\.\n",
        line,
    )
    assert found, line
    assert found[2] != taken["port"]

    def asked(path: str, data: bytes | None = None) -> Any:
        request = urllib.request.Request(found[1] + path, data, {"Authorization": "token secret"})
        with urllib.request.urlopen(request, timeout=30) as answer:
            return json.load(answer)

    for _ in range(100):
        try:
            assert asked("api/contents/00_start_here.ipynb?content=0")["writable"]
            break
        except OSError:
            time.sleep(0.1)
    news = asked("lab/api/settings/@jupyterlab/apputils-extension:notification")["schema"]["properties"]
    assert (news["fetchNews"]["default"], news["checkForUpdates"]["default"]) == ("false", False)
    assert asked("api/kernels", b"{}")["id"]
    children = psutil.Process(process.pid).children(recursive=True)
    assert children
    process.send_signal(signal.SIGTERM)
    said, complained = process.communicate(timeout=30)
    assert (process.returncode, said) == (0, "")
    assert "[" not in complained.partition("Traceback")[0], "no log; the kernel may be stopped while it starts"
    assert psutil.wait_procs(children, timeout=10)[1] == []


LEAN = """
import sys
from harmonylib.classroom.lean import UNUSED, lean
lean()
import jsonschema, nbformat
checks = jsonschema.Draft202012Validator.FORMAT_CHECKER.checkers
try:
    nbformat.validate({"nbformat": 4, "cells": "none"})
except nbformat.ValidationError:
    print(sys.modules[UNUSED], "lark" in sys.modules, "iri" in checks, {"uri", "date-time"} <= set(checks))
"""


def test_what_jupyter_never_needs_is_not_loaded_and_all_else_is_checked() -> None:
    done = subprocess.run([sys.executable, "-c", LEAN], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["None", "False", "False", "True"]
