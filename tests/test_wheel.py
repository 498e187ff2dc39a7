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
    subprocess.run([sys.executable, "-m", "build", "--outdir", str(folder), str(source)], check=True, timeout=500)
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


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="sends the signal that a service manager sends")
def test_from_the_wheel_in_an_empty_folder(built: Path, tmp_path: Path) -> None:
    """The new environment sees what is installed here, but this library only from the wheel."""
    venv.create(tmp_path / "venv", with_pip=True)
    python = tmp_path / "venv" / "bin" / "python"
    site = subprocess.check_output([python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"], text=True)
    wheel = str(next(built.glob("*.whl")))
    subprocess.run([python, "-m", "pip", "install", "-q", "--no-deps", wheel], check=True, timeout=300)
    here = subprocess.check_output([sys.executable, "-c", "import music21; print(music21.__path__[0])"], text=True)
    Path(site.strip(), "others.pth").write_text(str(Path(here.strip()).parent))
    folder = tmp_path / "empty"
    folder.mkdir()
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    environment |= {f"JUPYTER_{kind}_DIR": str(tmp_path / kind) for kind in ("CONFIG", "DATA", "RUNTIME")}
    command = [str(python), "-m", "harmonylib"]
    done = subprocess.run(
        [*command, "arrange"], cwd=folder, env=environment, capture_output=True, text=True, check=True
    )
    assert "Lantern" in done.stdout
    assert len(list(folder.glob("lantern_on_the_landing.*"))) == 4
    where = subprocess.check_output(
        [python, "-c", "from harmonylib.classroom.shipped import course_folder; print(course_folder())"],
        cwd=folder,
        env=environment,
        text=True,
    )
    assert where.strip() == str(Path(site.strip()) / "harmonylib" / "chapters")
    for more in ([], ["--projector"]):
        port = str(free_port())
        course = subprocess.Popen(
            [*command, "course", "--no-browser", "--allow-root", "--port", port, *more],
            cwd=folder,
            env=environment,
            stdout=subprocess.PIPE,
            text=True,
        )
        try:
            assert course.stdout is not None
            line = next(line for line in course.stdout if line.startswith("The course is at "))
            found = re.search(r"http://\S+", line)
            assert found
            for _ in range(200):
                try:
                    with urllib.request.urlopen(found[0], timeout=60) as answer:
                        assert answer.status == 200
                    break
                except OSError:
                    time.sleep(0.2)
            course.send_signal(signal.SIGINT)
            assert course.wait(60) == 0
        finally:
            course.kill()
            course.communicate()
    assert len(course_files(folder / "block-chords")) == len(course_files(course_folder()))
