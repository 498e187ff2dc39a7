"""The course from a wheel: all of it is in there, nothing stray is, and the commands work in an empty folder."""

import os
import re
import shutil
import signal
import subprocess
import sys
import tarfile
import time
import tomllib
import urllib.request
import venv
import zipfile
from pathlib import Path

import pytest

from harmonylib.classroom.shipped import course_files, course_folder
from tests.browser.conftest import free_port

ROOT = Path(__file__).resolve().parent.parent
LEFT = shutil.ignore_patterns(".git", ".venv", ".*_cache", "__pycache__", "build", "dist", "*.egg-info", "block-chords")


def test_every_package_is_named_in_the_settings() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    there = {
        path.parent.relative_to(ROOT).as_posix().replace("/", ".") for path in ROOT.glob("harmonylib/**/__init__.py")
    }
    assert set(settings["packages"]) == there | {"harmonylib.chapters", "widgets"}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Wheel and source archive, built from a copy of this checkout with stray files in it."""
    folder = tmp_path_factory.mktemp("built")
    source = folder / "source"
    shutil.copytree(ROOT, source, ignore=LEFT)
    for stray in ("01_spread_voicings-Copy1.ipynb", "Untitled.ipynb", "tunes/slate_roof_blues-Copy1.abc"):
        (source / "chapters" / stray).write_text("{}")
    (source / "chapters" / ".ipynb_checkpoints").mkdir()
    (source / "chapters" / ".ipynb_checkpoints" / "00_start_here-checkpoint.ipynb").write_text("{}")
    command = [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(folder), str(source)]
    subprocess.run(command, check=True, timeout=300, stdout=subprocess.DEVNULL)
    return folder


@pytest.mark.slow
def test_the_wheel_carries_the_course_and_nothing_stray(built: Path) -> None:
    wheel = next(built.glob("*.whl"))
    expected = {f"harmonylib/chapters/{name}" for name in course_files(course_folder())}
    with zipfile.ZipFile(wheel) as archive:
        assert {name for name in archive.namelist() if name.startswith("harmonylib/chapters/")} == expected
        missing = {
            path.relative_to(ROOT).as_posix()
            for path in [*ROOT.glob("harmonylib/**/*"), *ROOT.glob("widgets/**/*")]
            if path.is_file() and "__pycache__" not in path.parts
        } - set(archive.namelist())
    assert missing == set()
    assert wheel.stat().st_size < 3_000_000
    with tarfile.open(next(built.glob("*.tar.gz"))) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    assert {f"chapters/{name}" for name in course_files(course_folder())} <= names


@pytest.fixture(scope="module")
def python(built: Path) -> Path:
    """A new environment that sees what is installed here, but this library only from the wheel."""
    venv.create(built / "venv")
    python = built / "venv" / ("Scripts" if os.name == "nt" else "bin") / "python"
    wheel = str(next(built.glob("*.whl")))
    pip = [sys.executable, "-m", "pip", "--python", str(python), "install", "-q", "--no-deps", "--no-index", wheel]
    subprocess.run(pip, check=True, timeout=300)
    site = subprocess.check_output([python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"], text=True)
    here = subprocess.check_output([sys.executable, "-c", "import music21; print(music21.__path__[0])"], text=True)
    Path(site.strip(), "others.pth").write_text(str(Path(here.strip()).parent))
    where = [str(python), "-I", "-c", "from harmonylib.classroom.shipped import course_folder; print(course_folder())"]
    assert Path(subprocess.check_output(where, text=True).strip()) == Path(site.strip(), "harmonylib", "chapters")
    return python


# command: what it prints, the files it leaves
COMMANDS = {
    ("arrange",): ("Lantern", {"lantern_on_the_landing.csv", "lantern_on_the_landing.pdf"}),
    ("handout", "shapes", "maj7", "--formats", "pdf", "--out", "stand"): ("Shapes on C", {"stand/Shapes_on_C.pdf"}),
    ("practice", "block-chords/tunes/slate_roof_blues.abc", "--bars", "1-2", "--from", "120", "--to", "120"): (
        "safe level",
        {"slate_roof_blues_practice.mp3"},
    ),
    ("classroom", "class"): ("teacher.md", {"class/teacher.md", "class/start.sh", "class/jupyterhub_config.py"}),
}


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="sends the signal that a service manager sends")
def test_from_the_wheel_in_an_empty_folder(python: Path, tmp_path: Path) -> None:
    """Course and projector start side by side while the other commands work."""
    folder = tmp_path / "empty"
    folder.mkdir()
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    environment |= {f"JUPYTER_{kind}_DIR": str(tmp_path / kind) for kind in ("CONFIG", "DATA", "RUNTIME")}
    command = [str(python), "-m", "harmonylib"]
    servers = [
        subprocess.Popen(
            [*command, "course", "--no-browser", "--allow-root", "--port", str(free_port()), *more],
            cwd=folder,
            env=environment,
            stdout=subprocess.PIPE,
            text=True,
        )
        for more in ([], ["--projector"])
    ]
    try:
        addresses = []
        for server in servers:
            assert server.stdout is not None
            line = next(line for line in server.stdout if line.startswith("The course is at "))
            addresses += re.findall(r"http://[^ ]+/", line)[:1]
        for arguments, (words, files) in COMMANDS.items():
            done = subprocess.run(
                [*command, *arguments], cwd=folder, env=environment, capture_output=True, text=True, check=True
            )
            assert words in done.stdout, done.stdout
            assert {name for name in files if not (folder / name).is_file()} == set(), arguments
        for address in addresses:
            _answers(address)
        for server in servers:
            server.send_signal(signal.SIGINT)
        assert [server.wait(60) for server in servers] == [0, 0]
    finally:
        for server in servers:
            server.kill()
            server.communicate()
    assert course_files(folder / "block-chords") == course_files(course_folder())


def _answers(address: str) -> None:
    for _ in range(200):
        try:
            with urllib.request.urlopen(address, timeout=60) as answer:
                assert answer.status == 200
            return
        except OSError:
            time.sleep(0.2)
    raise AssertionError(f"nothing answers at {address}")
