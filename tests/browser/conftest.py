"""A real JupyterLab and a real Voila on 127.0.0.1, and a headless Chromium that notes all it asks for and complains of.

All tests in this folder are marked `browser`. Without Chromium they are skipped; where CI=true they fail instead.
"""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlparse

import nbformat
import pytest

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
FLAGS = (
    "--no-sandbox --disable-gpu --disable-background-networking --disable-component-update --disable-sync "
    "--enable-precise-memory-info --js-flags=--expose-gc"
).split()
TOKEN = "browser-tests"
HOME = ("127.0.0.1", "localhost")
PATIENCE_S = 120  # a server starts in three seconds, on a busy machine in thirty


@pytest.hookimpl(tryfirst=True)  # before -m chooses
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.path.is_relative_to(HERE):
            item.add_marker("browser")


@dataclass
class Watched:
    """A page with all its requests and console errors."""

    page: Any
    requests: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    @property
    def outside(self) -> list[str]:
        """Requests that left this machine."""
        named = [url for url in self.requests if urlparse(url).scheme not in ("blob", "data", "about", "file")]
        return [url for url in named if urlparse(url).hostname not in HOME]


def missing(what: str) -> None:
    """Skip; in continuous integration a missing browser is a failure."""
    if os.environ.get("CI") == "true":
        pytest.fail(f"{what} is missing, and CI=true asks for it")
    pytest.skip(f"{what} is missing")


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """The browser."""
    found = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if not found:
        missing("Chromium")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright")
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=found, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def opened(chromium: Any) -> Iterator[Callable[..., Watched]]:
    """A function that opens an address in a page of its own and watches it."""
    contexts = []

    def open_page(url: str, size: tuple[int, int] = (1280, 720), offline: bool = False, touch: bool = False) -> Watched:
        view = {"width": size[0], "height": size[1]}
        context = chromium.new_context(viewport=view, offline=offline, has_touch=touch)
        contexts.append(context)
        watched = Watched(context.new_page())
        watched.page.on("request", lambda request: watched.requests.append(request.url))
        watched.page.on("websocket", lambda websocket: watched.requests.append(websocket.url))
        watched.page.on("console", lambda said: watched.errors.append(said.text) if said.type == "error" else None)
        watched.page.on("pageerror", lambda error: watched.errors.append(str(error)))
        watched.page.goto(url)
        return watched

    yield open_page
    for context in contexts:
        context.close()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def write_notebook(path: Path, cells: list[str]) -> None:
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell) for cell in cells])
    notebook.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    for number, cell in enumerate(notebook.cells):
        cell["id"] = f"cell-{number}"
    nbformat.write(notebook, path)


def served(command: list[str], folder: Path, check: str) -> Iterator[None]:
    """Run a server until the fixture ends; it is up when `check` answers."""
    config = folder / "config"
    (config / "labconfig").mkdir(parents=True, exist_ok=True)
    disabled = {"@jupyterlab/apputils-extension:announcements": True}
    (config / "labconfig" / "page_config.json").write_text(json.dumps({"disabledExtensions": disabled}))
    settings = folder / "settings" / "@jupyterlab" / "notebook-extension"
    settings.mkdir(parents=True, exist_ok=True)
    (settings / "tracker.jupyterlab-settings").write_text(json.dumps({"windowingMode": "none"}))
    places = {"JUPYTER_CONFIG_DIR": str(config), "JUPYTERLAB_SETTINGS_DIR": str(folder / "settings")}
    environment = os.environ | places | {"PYTHONPATH": str(ROOT), "IPYTHONDIR": str(folder / "ipython")}
    with (folder / "server.log").open("w") as log:
        process = subprocess.Popen(command, cwd=folder, env=environment, stdout=log, stderr=log)
        try:
            until = time.monotonic() + PATIENCE_S
            while time.monotonic() < until:
                try:
                    urllib.request.urlopen(check, timeout=2).close()
                    break
                except OSError:
                    time.sleep(0.1)
            else:
                pytest.fail(f"the server did not start: {(folder / 'server.log').read_text()[-2000:]}")
            yield
        finally:
            process.terminate()
            try:
                process.wait(60)  # it ends its kernels first
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait(20)


def kernel(page: Any, code: str) -> str:
    """What the kernel of the notebook on this page prints for some code."""
    return str(
        page.evaluate(
            """async (code) => {
            const kernel = window.jupyterapp.shell.currentWidget.sessionContext.session.kernel;
            const future = kernel.requestExecute({ code, store_history: false });
            let said = "";
            future.onIOPub = (message) => { said += message.content.text ?? message.content.evalue ?? ""; };
            await future.done;
            return said.trim();
            }""",
            code,
        )
    )


@pytest.fixture(scope="session")
def started() -> Iterator[Callable[[list[str], Path, str], None]]:
    """A function that starts a server as `served` does; all end with the session."""
    running: list[Iterator[None]] = []

    def start(command: list[str], folder: Path, check: str) -> None:
        running.append(served(command, folder, check))
        next(running[-1])

    yield start
    for server in running:
        next(server, None)


@pytest.fixture(scope="session")
def voila(
    chromium: Any, tmp_path_factory: pytest.TempPathFactory, started: Callable[..., None]
) -> Callable[[list[str]], str]:
    """A function that serves cells by Voila and gives the address."""
    folder = tmp_path_factory.mktemp("voila")

    def serve(cells: list[str]) -> str:
        write_notebook(folder / "shown.ipynb", cells)
        port = free_port()
        command = [sys.executable, "-m", "voila", "shown.ipynb", "--no-browser", f"--port={port}"]
        started([*command, "--Voila.ip=127.0.0.1"], folder, f"http://127.0.0.1:{port}/voila/static/voila.js")
        return f"http://127.0.0.1:{port}"

    return serve


@pytest.fixture(scope="session")
def lab_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("lab")


@pytest.fixture(scope="session")
def lab(chromium: Any, lab_folder: Path) -> Iterator[str]:
    """The address of a JupyterLab that serves `lab_folder`."""
    port = free_port()
    command = [sys.executable, "-m", "jupyterlab", "--no-browser", "--ip=127.0.0.1", f"--port={port}", "--allow-root"]
    command += [f"--IdentityProvider.token={TOKEN}", "--LabApp.expose_app_in_browser=True"]
    command += ["--ServerApp.port_retries=0", "--ServerApp.jpserver_extensions={'harmonylib.classroom.stilled': True}"]
    for _ in served(command, lab_folder, f"http://127.0.0.1:{port}/api/status?token={TOKEN}"):
        yield f"http://127.0.0.1:{port}"


@pytest.fixture(scope="session")
def notebook(lab: str, lab_folder: Path, opened: Callable[..., Watched]) -> Callable[..., Watched]:
    """A function that opens cells as a notebook in JupyterLab, runs them all and waits until they are done."""

    def run(name: str, cells: list[str], size: tuple[int, int] = (1280, 720), touch: bool = False) -> Watched:
        write_notebook(lab_folder / f"{name}.ipynb", cells)
        watched = opened(f"{lab}/lab/workspaces/{name}/tree/{name}.ipynb?token={TOKEN}", size, touch=touch)
        run_all(watched.page)
        return watched

    return run


def run_all(page: Any) -> None:
    """Run every cell of the notebook in front on this page and wait until all are done."""
    page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=60_000)
    page.wait_for_function(
        "window.jupyterapp?.shell.currentWidget?.sessionContext?.session?.kernel?.status === 'idle'", timeout=60_000
    )
    page.evaluate("window.jupyterapp.shell.collapseLeft()")
    page.evaluate(
        """() => { for (const cell of window.jupyterapp.shell.currentWidget.content.model.cells)
        if (cell.type === "code") cell.sharedModel.execution_count = null; }"""
    )
    page.evaluate("window.jupyterapp.commands.execute('notebook:run-all-cells')")
    page.wait_for_function(
        """() => { const model = window.jupyterapp.shell.currentWidget.content.model;
        return [...model.cells].every((cell) => cell.type !== "code" || cell.executionCount) &&
        window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.status === "idle" }""",
        timeout=1000 * PATIENCE_S,
    )


@pytest.fixture(scope="session")
def projected(
    chromium: Any, tmp_path_factory: pytest.TempPathFactory, started: Callable[..., None]
) -> Callable[[list[str], Path | None], str]:
    """A function that puts the course, or another folder of chapters, on the projector and gives the address."""
    pytest.importorskip("voila")

    def serve(options: list[str], folder: Path | None = None) -> str:
        port = free_port()
        command = [sys.executable, "-m", "harmonylib", "course", "--projector", "--no-browser", "--port", str(port)]
        if folder:
            code = "from pathlib import Path; from harmonylib.classroom.projector import serve; "
            code += f"serve(Path({str(folder)!r}), "
            command = [sys.executable, "-c", f"{code}port={port}, browser=False)"]
        started([*command, *options], tmp_path_factory.mktemp("projector"), f"http://127.0.0.1:{port}/")
        return f"http://127.0.0.1:{port}"

    return serve


@pytest.fixture(scope="session")
def course(projected: Callable[..., str]) -> str:
    return projected([])
