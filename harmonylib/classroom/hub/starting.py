"""The class server started: accounts, the teachers' passwords and the checks first, then the Hub in this very process.

``python -m harmonylib.classroom.hub.starting DIR`` starts the server of a folder; with ``servers``, it asks the running
Hub to start every learner's server, a few at a time, so that a class does not wait.

Conventions
- Passwords are the learners' own, chosen when they sign in first. Those of teachers are made here, and shown once, so
  that nobody can claim a teacher's name.
"""

from __future__ import annotations

import errno
import importlib.util
import json
import os
import re
import secrets
import shutil
import signal
import socket
import ssl
import sys
import urllib.error
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import NoReturn
from urllib.parse import urlsplit

from harmonylib.classroom.hub.people import NAMES, make_accounts, read_people
from harmonylib.errors import HarmonyError
from harmonylib.files import read_limited

CONFIGURATION, PRIVATE = "jupyterhub_config.py", "private"
CERTIFICATE, KEY = "certificate.pem", "key.pem"
TOKEN, ADDRESS = "starter-token", "address"
AT_ONCE = os.cpu_count() or 1
"""Servers that are started side by side: each keeps a core busy."""
PATIENCE_S = 180
MOST_BYTES = 1_000_000
"""A configuration is a page of text."""


def main(arguments: list[str]) -> int:
    """Start the server, or the learners' servers; 2 and one line when that cannot be."""
    folder = Path(arguments[0]).resolve()
    try:
        if arguments[1:] == ["servers"]:
            return start_servers(folder)
        prepare(folder)
    except HarmonyError as error:
        print(f"harmonylib: {error}", file=sys.stderr)
        return 2
    return _become_hub(folder)


def _become_hub(folder: Path) -> NoReturn:
    os.chdir(folder / PRIVATE)
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # a shell that starts it behind has it ignored, and it ends late
    os.execv(sys.executable, [sys.executable, "-m", "jupyterhub", "-f", str(folder / CONFIGURATION)])


def prepare(folder: Path) -> None:
    """All that must be there before the Hub starts; raises `HarmonyError` that says what is missing."""
    _check(folder)
    people = read_people(folder / NAMES)
    private = folder / PRIVATE
    _check_stopped(private)
    _check_certificate(folder)
    _check_ports(folder)
    private.mkdir(mode=0o700, exist_ok=True)
    private.chmod(0o700)
    (folder / "replies").mkdir(exist_ok=True)
    (folder / "replies").chmod(0o755)
    new = make_accounts(people)
    if new:
        print(f"Accounts made: {', '.join(new)}.")
    if not (private / TOKEN).exists():
        (private / TOKEN).touch(0o600)
        (private / TOKEN).write_text(secrets.token_hex(32))
    for name in people.teachers:
        password = _first_password(private, name)
        if password:
            print(f"The password of {name} is {password} (shown this once; {name} can change it after signing in).")
    sys.stdout.flush()


def _check(folder: Path) -> None:
    if os.geteuid() != 0:
        raise HarmonyError("start the class server as root: it starts every learner's server as that learner")
    for module in ("jupyterhub", "firstuseauthenticator", "jupyterhub_idle_culler"):
        if importlib.util.find_spec(module) is None:
            raise HarmonyError(f"{module} is missing: {sys.executable} -m pip install -r requirements.txt")
    if not shutil.which("configurable-http-proxy"):
        raise HarmonyError("configurable-http-proxy is missing: npm install -g configurable-http-proxy@5.3.0")
    for place in (Path(sys.executable), Path(sys.executable).resolve(), Path(__file__), folder / "replies"):
        closed = [str(parent) for parent in place.parents if not parent.stat().st_mode & 0o001]
        if closed:
            raise HarmonyError(f"learners cannot open {closed[-1]!r}, where {place.name} is: choose another place")


def _check_stopped(private: Path) -> None:
    """Raises `HarmonyError` while the Hub that this folder was started with answers."""
    try:
        asked = urlsplit((private / ADDRESS).read_text())
        socket.create_connection((str(asked.hostname), asked.port or 0), timeout=2).close()
    except (OSError, ValueError):
        return
    raise HarmonyError("the class server still runs: stop it, and start it anew when it has ended")


def _check_certificate(folder: Path) -> None:
    """Close the key to all but root; raises `HarmonyError` unless both serve or neither is there."""
    pair = folder / CERTIFICATE, folder / KEY
    there = [part.name for part in pair if part.exists()]
    if not there:
        return
    if len(there) == 1:
        raise HarmonyError(f"{there[0]} stands alone in {str(folder)!r}: {CERTIFICATE} and {KEY} go together")
    pair[1].chmod(0o600)  # whoever reads it can pass for this server
    try:
        ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(*pair, password="")
    except OSError as error:
        why = getattr(error, "reason", "") or error.strerror or "no PEM is in them"
        raise HarmonyError(f"{CERTIFICATE} and {KEY} cannot serve: {why.lower().replace('_', ' ')}") from None


def _check_ports(folder: Path) -> None:
    """Raises `HarmonyError` while another program has one of the three ports that the configuration takes."""
    written = read_limited(folder / CONFIGURATION, MOST_BYTES).decode("utf-8", "replace")
    named = re.search(r"^PORT *= *(\d+)", written, re.M)
    if not named:
        return  # the configuration is the teacher's own
    public, everywhere = int(named[1]), (folder / CERTIFICATE).exists()
    own = [("127.0.0.1", port) for port in (public, public + 1, public + 2)]
    for host, port in [*[("0.0.0.0", public), ("::", public)] * everywhere, *own]:
        try:
            socket.create_server((host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET).close()
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                raise HarmonyError(
                    f"port {port} is taken by another program: stop that, or write another PORT at the top of "
                    f"{CONFIGURATION}; the class takes {public} and the two after it"
                ) from None


def _first_password(private: Path, name: str) -> str:
    """A password for a teacher who has none, else nothing."""
    import dbm

    from firstuseauthenticator import FirstUseAuthenticator

    path = str(private / "passwords.dbm")
    with dbm.open(path, "c", 0o600) as known:
        if name.encode() in known:
            return ""
    password = secrets.token_urlsafe(9)
    FirstUseAuthenticator(dbm_path=path).reset_password(name, password)
    return password


def start_servers(folder: Path) -> int:
    """Ask the running Hub to start everyone's server, `AT_ONCE` at a time."""
    try:
        token = (folder / PRIVATE / TOKEN).read_text().strip()
        address = (folder / PRIVATE / ADDRESS).read_text().strip()
    except OSError as error:
        raise HarmonyError(f"no class server has been started in {str(folder)!r}: {error.strerror}") from None
    names = read_people(folder / NAMES).everyone
    with ThreadPoolExecutor(AT_ONCE) as pool:
        for name, state in zip(names, pool.map(lambda name: _started(address, token, name), names), strict=True):
            print(f"{name}: {state}", flush=True)
    return 0


def _started(address: str, token: str, name: str) -> str:
    """Start a server and wait for it: ready, or what the Hub says."""
    asked = f"{address}/users/{name}/server"
    headers = {"Authorization": f"token {token}"}
    try:
        with urllib.request.urlopen(urllib.request.Request(asked, b"{}", headers), timeout=PATIENCE_S) as answer:
            if answer.status == 201:
                return "ready"
        with urllib.request.urlopen(
            urllib.request.Request(f"{asked}/progress", None, headers), timeout=PATIENCE_S
        ) as told:
            return "ready" if any(b'"ready": true' in line for line in told) else "not ready; it may be later"
    except urllib.error.HTTPError as error:
        return str(json.loads(error.read() or b"{}").get("message", error.reason))
    except OSError as error:
        raise HarmonyError(f"the class server does not answer: {error}") from None


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
