#!/bin/sh
# Starts the class server; Ctrl+C stops it and every learner's server.
cd "$(dirname "$0")" && exec @PYTHON@ -m harmonylib.classroom.hub.starting .
