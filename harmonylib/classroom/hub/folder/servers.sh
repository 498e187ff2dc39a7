#!/bin/sh
# Before class, while the class server runs: starts everyone's server, one a core at a time.
cd "$(dirname "$0")" && exec @PYTHON@ -m harmonylib.classroom.hub.starting . servers
