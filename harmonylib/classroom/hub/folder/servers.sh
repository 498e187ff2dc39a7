#!/bin/sh
# Before class, while the class server runs: starts everyone's server, one after another.
cd "$(dirname "$0")" && exec @PYTHON@ -m harmonylib.classroom.hub.starting . servers
