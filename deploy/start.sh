#!/bin/sh
# Starts all of Spanbook: sh deploy/start.sh. Ctrl-C stops it. deploy/RUNNING.md lists what can be set.
. "$(dirname "$0")/common.sh"
make_venv requirements.txt
exec .venv/bin/python -m deploy.run
