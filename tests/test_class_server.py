"""The class server's parts, each by itself: names, accounts, a learner's seat, replies, the folder for the teacher."""

from __future__ import annotations

import os
import shutil
import socket
import stat
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

if sys.platform == "win32":
    pytest.skip("accounts of POSIX", allow_module_level=True)

import grp
import pwd

from harmonylib.__main__ import main
from harmonylib.classroom import replies
from harmonylib.classroom.hub import people, seat, starting
from harmonylib.classroom.hub.people import People, make_accounts, read_people
from harmonylib.errors import HarmonyError


def names(folder: Path, text: str) -> Path:
    (folder / "class.txt").write_text(text, encoding="utf-8")
    return folder / "class.txt"


def test_a_class_is_read_as_any_editor_writes_it(tmp_path: Path) -> None:
    found = read_people(
        names(tmp_path, "\ufeffteacher  mara\r\n\r\n# the first term\r\nada\r\nben-2 # plays left-handed")
    )
    assert found == People(("mara",), ("ada", "ben-2"))
    assert found.everyone == ("mara", "ada", "ben-2")


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("teacher mara\nAda", "line 2: 'Ada' is no name: write small letters"),
        ("teacher mara\nada lee", "line 2: 'ada lee' is no name"),
        ("teacher", "line 1: 'teacher' is no name"),
        ("teacher mara\n-rf", "line 2: '-rf' is no name"),
        ("teacher mara\n../ben", "line 2: '../ben' is no name"),
        ("teacher mara\n" + 32 * "a", "is no name"),
        ("teacher mara\nada\nada", "line 3: 'ada' is there twice"),
        ("teacher mara\nmara", "line 2: 'mara' is there twice"),
        ("ada\nben", "names no teacher: write a line “teacher NAME”"),
        ("", "names no teacher"),
    ],
)
def test_a_name_that_cannot_be_an_account_is_told_with_its_line(tmp_path: Path, text: str, line: str) -> None:
    with pytest.raises(HarmonyError, match=rf"class\.txt.*{line}"):
        read_people(names(tmp_path, text))


class Machine:
    """Accounts as a machine has them, and the commands that were run to change them."""

    def __init__(self, homes: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.homes, self.users, self.ran = homes, {"root": 0}, []
        self.members: list[str] = []
        self.owners: list[tuple[int, str]] = []
        monkeypatch.setattr(people, "_run", self.run)
        monkeypatch.setattr(pwd, "getpwnam", self.user)
        monkeypatch.setattr(grp, "getgrnam", lambda name: SimpleNamespace(gr_mem=self.members, gr_gid=name))

    def user(self, name: str) -> Any:
        return SimpleNamespace(pw_uid=self.users[name], pw_dir=str(self.homes / name))

    def run(self, *command: str) -> None:
        self.ran.append(command)
        if command[0] == "useradd":
            self.users[command[-1]] = 1000 + len(self.users)
            self.members.append(command[-1])
            (self.homes / command[-1]).mkdir(mode=0o755)


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Machine:
    made = Machine(tmp_path, monkeypatch)
    monkeypatch.setattr(os, "fchown", lambda _, user, group: made.owners.append((user, group)))
    return made


def test_accounts_are_made_once_and_every_home_is_closed(machine: Machine) -> None:
    group = People(("mara",), ("ada", "ben"))
    assert make_accounts(group) == ("mara", "ada", "ben")
    assert [command[-1] for command in machine.ran if command[0] == "useradd"] == ["mara", "ada", "ben"]
    assert [command for command in machine.ran if command[0] == "usermod"] == [
        ("usermod", "--append", "--groups", "block-chords-teachers", "mara")
    ]
    assert {stat.S_IMODE(path.stat().st_mode) for path in machine.homes.iterdir()} == {0o2750}
    teachers = "block-chords-teachers"
    assert machine.owners == [(1001, "mara"), (1002, teachers), (1003, teachers)]
    (machine.homes / "ada").chmod(0o777)  # the learner has opened it meanwhile
    machine.ran.clear()
    assert make_accounts(group) == ()
    assert "useradd" not in [command[0] for command in machine.ran]
    assert stat.S_IMODE((machine.homes / "ada").stat().st_mode) == 0o2750


def test_an_account_from_before_is_refused_and_none_is_made(machine: Machine) -> None:
    machine.users["ben"] = 1000
    for name in ("root", "ben"):
        with pytest.raises(HarmonyError, match=f"'{name}' is an account that this machine had before"):
            make_accounts(People(("mara",), ("ada", name)))
    assert "useradd" not in [command[0] for command in machine.ran]


def test_a_home_that_is_a_link_is_not_closed_in_its_place(machine: Machine) -> None:
    make_accounts(People(("mara",), ("ada",)))
    (machine.homes / "ada").rmdir()
    (machine.homes / "elsewhere").mkdir(mode=0o755)
    (machine.homes / "ada").symlink_to(machine.homes / "elsewhere")
    with pytest.raises(HarmonyError, match="the home of 'ada', '.*ada', cannot be closed"):
        make_accounts(People(("mara",), ("ada",)))
    assert stat.S_IMODE((machine.homes / "elsewhere").stat().st_mode) == 0o755


def test_a_command_that_fails_is_told() -> None:
    with pytest.raises(HarmonyError, match="no-such-command cannot be run: No such file"):
        people._run("no-such-command")
    with pytest.raises(HarmonyError, match="ls /no-such-place: .*No such file"):
        people._run("ls", "/no-such-place")


@pytest.mark.parametrize(("user", "name"), [(0, "root"), (0, "ada"), (None, "somebody-else"), (None, "")])
def test_a_seat_runs_as_its_learner_and_never_as_root(
    user: int | None, name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 60_123 if user is None else user)
    monkeypatch.setattr(pwd, "getpwuid", lambda number: SimpleNamespace(pw_name="ada" if number else "root"))
    monkeypatch.setenv("JUPYTERHUB_USER", name)
    assert seat.main() == 1
    heard = capsys.readouterr().err
    assert heard.startswith(f"harmonylib: the server of '{name}' would run as")
    assert heard.count("\n") == 1
    monkeypatch.setattr(os, "geteuid", lambda: 60_123)
    seat.check_account("ada")


def test_sockets_lie_in_a_short_folder_of_the_learners_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(seat, "SHORT", tmp_path)
    mine = seat.runtime_folder()
    assert (mine, stat.S_IMODE(mine.stat().st_mode)) == (tmp_path / f"block-chords-{os.getuid()}", 0o700)
    assert seat.runtime_folder() == mine
    mine.chmod(0o755)
    other = seat.runtime_folder()
    assert (other.parent, stat.S_IMODE(other.stat().st_mode)) == (tmp_path, 0o700)
    assert other != mine
    mine.rmdir()
    mine.symlink_to(other)
    assert seat.runtime_folder() not in (mine, other)
    mine.unlink()
    mine.mkdir(mode=0o700)
    foreign = os.getuid() + 1
    mine.rename(tmp_path / f"block-chords-{foreign}")
    monkeypatch.setattr(os, "getuid", lambda: foreign)
    assert seat.runtime_folder().name != f"block-chords-{foreign}"


@pytest.fixture
def waiting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of replies for Ada, as the Hub names it."""
    monkeypatch.setenv(seat.REPLIES, str(tmp_path / "replies"))
    monkeypatch.setenv("JUPYTERHUB_USER", "ada")
    (tmp_path / "replies" / "ada").mkdir(parents=True)
    (tmp_path / "replies" / "ben").mkdir()
    (tmp_path / "replies" / "ben" / "Week_1.html").write_text("for Ben")
    return tmp_path / "replies" / "ada"


def test_replies_come_once_and_a_changed_one_beside_the_first(waiting: Path, tmp_path: Path) -> None:
    mine = tmp_path / "mine"
    seat.fetch_replies(mine)
    assert not mine.exists()
    (waiting / "Week_1.html").write_text("one")
    for text in ("one", "one", "marked again", "one", "marked again"):
        (waiting / "Week_1.html").write_text(text)
        seat.fetch_replies(mine)
    (waiting / "large.html").write_bytes(bytes(seat._LARGEST_REPLY + 1))
    seat.fetch_replies(mine)
    found = {path.name: path.read_text() for path in (mine / "replies").iterdir()}
    assert found == {"Week_1.html": "one", "Week_1_2.html": "marked again"}


def test_replies_go_through_no_link_and_a_full_disk_is_one_line(
    waiting: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (waiting / "Week_1.html").write_text("one")
    mine, target = tmp_path / "mine", tmp_path / "elsewhere"
    (mine / "replies").mkdir(parents=True)
    (mine / "replies" / "Week_1.html").symlink_to(target)
    seat.fetch_replies(mine)
    assert not target.exists()
    assert (mine / "replies" / "Week_1_2.html").read_text() == "one"
    other = tmp_path / "other"
    target.mkdir()
    other.mkdir()
    (other / "replies").symlink_to(target)
    seat.fetch_replies(other)
    assert list(target.iterdir()) == []
    assert capsys.readouterr().err == ""

    def full(*_: Any) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    seat.fetch_replies(tmp_path / "third")
    heard = capsys.readouterr().err
    assert heard.startswith("harmonylib: replies were not copied: ")
    assert "No space left" in heard


def test_root_gives_a_reply_to_its_learner_and_nobody_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = tmp_path / "ada" / "Week_1.html"
    page.parent.mkdir(mode=0o700)
    page.write_text("one")
    page.chmod(0o600)
    given: list[Any] = []
    monkeypatch.setattr(os, "chown", lambda path, *owner, **how: given.append((path, *owner)))
    monkeypatch.setattr(pwd, "getpwnam", {"ada": SimpleNamespace(pw_gid=61_000)}.__getitem__)
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    replies._hand_over((page, page.parent), "ada")
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    replies._hand_over((page, page.parent), "nobody here")
    assert given == []
    replies._hand_over((page, page.parent), "ada")
    assert given == [(page, -1, 61_000), (page.parent, -1, 61_000)]
    assert [stat.S_IMODE(path.stat().st_mode) for path in (page, page.parent)] == [0o640, 0o750]

    def refused(*_: Any, **__: Any) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "chown", refused)
    with pytest.raises(HarmonyError, match=r"Week_1\.html' cannot be given to 'ada': Operation not permitted"):
        replies._hand_over((page, page.parent), "ada")


def test_the_folder_is_written_once_and_the_teachers_files_are_left(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "class"
    assert main(["classroom", str(folder)]) == 0
    assert f"Next: read {folder / 'teacher.md'}" in capsys.readouterr().out
    written = {path.name for path in folder.iterdir()}
    assert written == {
        *("class.txt", "jupyterhub_config.py", "requirements.txt", "servers.sh", "start.sh", "teacher.md"),
    }
    assert os.access(folder / "start.sh", os.X_OK)
    assert sys.executable in (folder / "start.sh").read_text()
    compile((folder / "jupyterhub_config.py").read_text(), "jupyterhub_config.py", "exec")
    assert "jupyterhub==6.1.1" in (folder / "requirements.txt").read_text().splitlines()
    names(folder, "teacher mara\nada")
    (folder / "start.sh").unlink()
    assert main(["classroom", str(folder)]) == 0
    assert "Note: left as they are: class.txt, jupyterhub_config.py" in capsys.readouterr().out
    assert read_people(folder / "class.txt").learners == ("ada",)
    assert (folder / "start.sh").exists()


@pytest.mark.parametrize("arguments", [[], ["servers"]])
def test_a_start_that_cannot_be_is_one_line(
    arguments: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    assert starting.main([str(tmp_path), *arguments]) == 2
    heard = capsys.readouterr().err
    assert ("start the class server as root", "no class server has been started in")[len(arguments)] in heard
    assert heard.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


CERTIFY = "openssl req -x509 -newkey rsa:2048 -nodes -days 1 -subj /CN=class -keyout key.pem -out certificate.pem"


@pytest.mark.skipif(not shutil.which("openssl"), reason="openssl is missing")
def test_a_certificate_serves_or_what_is_wrong_with_it_is_one_sentence(tmp_path: Path) -> None:
    starting._check_certificate(tmp_path)
    subprocess.run(CERTIFY.split(), cwd=tmp_path, check=True, capture_output=True)
    key = tmp_path / "key.pem"
    key.chmod(0o644)
    starting._check_certificate(tmp_path)
    assert stat.S_IMODE(key.stat().st_mode) == 0o600, "closed to all but root"
    subprocess.run(["openssl", "genrsa", "-out", "key.pem", "2048"], cwd=tmp_path, check=True, capture_output=True)
    with pytest.raises(HarmonyError, match=r"^certificate.pem and key.pem cannot serve: key values mismatch$"):
        starting._check_certificate(tmp_path)
    key.write_text("-----BEGIN")
    with pytest.raises(HarmonyError, match="certificate.pem and key.pem cannot serve: "):
        starting._check_certificate(tmp_path)
    key.unlink()
    with pytest.raises(HarmonyError, match="certificate.pem stands alone in"):
        starting._check_certificate(tmp_path)


def test_a_second_start_is_refused_while_the_first_still_runs(tmp_path: Path) -> None:
    starting._check_stopped(tmp_path)
    with socket.create_server(("127.0.0.1", 0)) as hub:
        (tmp_path / "address").write_text(f"http://127.0.0.1:{hub.getsockname()[1]}/hub/api")
        with pytest.raises(HarmonyError, match="the class server still runs: stop it"):
            starting._check_stopped(tmp_path)
    starting._check_stopped(tmp_path)


@pytest.mark.parametrize(
    ("taken", "host", "secure"), [(0, "127.0.0.1", False), (2, "127.0.0.1", True), (0, "::1", True)]
)
def test_a_port_of_another_program_is_told_before_the_hub_starts(
    taken: int, host: str, secure: bool, tmp_path: Path
) -> None:
    main(["classroom", str(tmp_path)])
    if secure:
        (tmp_path / "certificate.pem").touch()
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        other = socket.create_server((host, 0), family=family)
    except OSError:
        pytest.skip("this machine has no such address")
    with other:
        public = other.getsockname()[1] - taken
        configuration = tmp_path / "jupyterhub_config.py"
        configuration.write_text(configuration.read_text().replace("PORT = 8000", f"PORT = {public}"))
        with pytest.raises(HarmonyError, match=rf"^port {public + taken} is taken by another program: stop that, or"):
            starting._check_ports(tmp_path)
    starting._check_ports(tmp_path)
    configuration.unlink()
    with pytest.raises(HarmonyError, match="jupyterhub_config.py' was not found"):
        starting._check_ports(tmp_path)
