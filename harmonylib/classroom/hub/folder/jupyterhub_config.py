"""The class server. Change what stands at the top, then stop it and start it anew."""

import os
import shutil
import sys
from pathlib import Path

from harmonylib.classroom.hub.people import NAMES, read_people
from harmonylib.classroom.hub.starting import ADDRESS, TOKEN

PORT = 8000
"""Where learners go; the two ports after it are the server's own."""
IDLE_MINUTES = 90
"""A learner's server that nobody has used for so long is stopped; what was saved stays."""
SHORTEST_PASSWORD = 8

HERE = Path(__file__).resolve().parent
PRIVATE = HERE / "private"
PEOPLE = read_people(HERE / NAMES)
CERTIFICATE, KEY = HERE / "certificate.pem", HERE / "key.pem"
HUB = f"http://127.0.0.1:{PORT + 1}/hub/api"

c = get_config()  # noqa: F821

if CERTIFICATE.exists() and KEY.exists():
    c.JupyterHub.ssl_cert, c.JupyterHub.ssl_key = str(CERTIFICATE), str(KEY)
    c.JupyterHub.bind_url = f"https://:{PORT}"
    print(f"The class is at port {PORT} of this machine, with https.", flush=True)
else:
    c.JupyterHub.bind_url = f"http://127.0.0.1:{PORT}"
    print(
        f"The class is at http://127.0.0.1:{PORT}, for this machine only: without certificate.pem and key.pem here, "
        "passwords would cross the network in the clear and browsers would keep the microphone off.",
        flush=True,
    )

c.JupyterHub.hub_ip, c.JupyterHub.hub_port = "127.0.0.1", PORT + 1
c.ConfigurableHTTPProxy.api_url = f"http://127.0.0.1:{PORT + 2}"
c.ConfigurableHTTPProxy.command = [shutil.which("configurable-http-proxy")]
c.ConfigurableHTTPProxy.log_level = "warn"
c.ConfigurableHTTPProxy.pid_file = str(PRIVATE / "proxy.pid")
c.JupyterHub.db_url = f"sqlite:///{PRIVATE / 'hub.sqlite'}"
c.JupyterHub.cookie_secret_file = str(PRIVATE / "cookie_secret")
c.JupyterHub.log_level = "WARN"
(PRIVATE / ADDRESS).write_text(HUB)

c.JupyterHub.authenticator_class = "firstuseauthenticator.FirstUseAuthenticator"
c.FirstUseAuthenticator.dbm_path = str(PRIVATE / "passwords.dbm")
c.FirstUseAuthenticator.create_users = False
c.FirstUseAuthenticator.min_password_length = SHORTEST_PASSWORD
c.Authenticator.allowed_users = set(PEOPLE.everyone)
c.Authenticator.admin_users = set(PEOPLE.teachers)
c.Authenticator.delete_invalid_users = True

c.JupyterHub.spawner_class = "jupyterhub.spawner.LocalProcessSpawner"
c.Spawner.cmd = [sys.executable, "-m", "harmonylib.classroom.hub.seat"]
c.Spawner.default_url = "/lab/tree/00_start_here.ipynb"
c.Spawner.environment = {"HARMONYLIB_REPLIES": str(HERE / "replies"), "PATH": os.environ["PATH"]}
c.Spawner.start_timeout, c.Spawner.http_timeout = 180, 120
c.LocalProcessSpawner.interrupt_timeout, c.LocalProcessSpawner.term_timeout = 5, 3
c.JupyterHub.concurrent_spawn_limit = 4
c.JupyterHub.allow_named_servers = False
c.JupyterHub.last_activity_interval = 30

c.JupyterHub.load_roles = [
    {
        "name": "idle-culler",
        "scopes": ["list:users", "read:users:activity", "read:servers", "delete:servers"],
        "services": ["idle-culler"],
    },
    {"name": "starter", "scopes": ["servers", "list:users"], "services": ["starter"]},
]
c.JupyterHub.services = [
    {
        "name": "idle-culler",
        "command": [
            *(sys.executable, "-m", "jupyterhub_idle_culler"),
            *(f"--timeout={int(60 * IDLE_MINUTES)}", f"--cull-every={max(2, int(6 * IDLE_MINUTES))}"),
        ],
    },
    {"name": "starter", "api_token": (PRIVATE / TOKEN).read_text().strip()},
]
