"""Starts all of Spanbook and keeps it running: ``python -m deploy.run``, or ``sh deploy/start.sh``.

The servers first (those the environment names none for), then database and static files brought up
to date, then web, worker and beat. Whatever of these ends is started again. Stopped by Ctrl-C or
TERM, it takes all down with it.
"""

from __future__ import annotations

import fcntl
import os
import socket
import sys
import time
from typing import TextIO

from deploy import environment as env
from deploy.places import Places, ServerProblem, account_for_servers
from deploy.supervisor import CannotStart, Supervisor, say


def hold(places: Places) -> tuple[TextIO, bool]:
    """The lock on a data folder, and whether its last holder ended without giving it back.

    Raises CannotStart while another Spanbook has it. The file must stay open.
    """
    file = (places.data / "lock").open("a+")
    file.seek(0)
    holder = file.read().strip()
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise CannotStart(
            f"Spanbook already runs on {places.data} (process {holder}). It was left alone. Use "
            "it, stop it, or set SPANBOOK_DATA and PORT to start another beside it."
        ) from None
    file.truncate(0)
    file.write(str(os.getpid()))
    file.flush()
    return file, bool(holder)


def refuse_busy_port(bind: str, port: int, *, wait: float) -> None:
    give_up = time.monotonic() + wait
    while True:
        with socket.socket(socket.AF_INET6 if ":" in bind else socket.AF_INET) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                return probe.bind((bind, port))
            except OSError as problem:
                said = problem.strerror
        if time.monotonic() > give_up:
            raise CannotStart(
                f"Port {port} on {bind} cannot be used ({said}). Choose another: PORT={port + 1} "
                "sh deploy/start.sh"
            )
        time.sleep(0.2)


def main() -> int:
    try:
        port = env.whole("PORT", 8000, lowest=1, highest=65535)
        bind = env.text("SPANBOOK_BIND", "127.0.0.1")
        places = Places(env.data_folder(), account_for_servers())
        places.make()
        lock, killed = hold(places)
        with lock:
            # After a kill -9 the former web server may still be finishing its last answers.
            refuse_busy_port(bind, port, wait=15 if killed else 0)
            env.keep_secret_key(places.data)
            supervisor = Supervisor(places, bind, port)
            supervisor.variables |= {"SPANBOOK_DATA": str(places.data), "PORT": str(port)}
            if places.account:
                say(
                    "You are root: the embedded servers run as nobody, the rest as root. Better "
                    "start"
                )
                say("Spanbook as an ordinary user (deploy/RUNNING.md).")
            supervisor.run()
            lock.truncate(0)
    except (env.WrongSetting, ServerProblem, CannotStart) as problem:
        sys.stderr.write(f"Spanbook did not start. {problem}\n")
        return 1
    say("Spanbook has stopped.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
