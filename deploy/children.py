"""Programs that run under the supervisor: none outlives it, each can be stopped politely or at
once.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

PR_SET_PDEATHSIG = 1  # <linux/prctl.h>


@dataclass(frozen=True)
class Account:
    """Whom a program runs as when we are root."""

    uid: int
    gid: int


def _dies_with(parent: int, last_signal: signal.Signals) -> Callable[[], None]:
    """For ``preexec_fn``: the kernel sends the child ``last_signal`` when we end, however we end
    (Linux only).
    """
    prctl = ctypes.CDLL(None).prctl if sys.platform == "linux" else None

    def before_exec() -> None:
        if prctl is not None:
            prctl(PR_SET_PDEATHSIG, int(last_signal))
        if os.getppid() != parent:
            os._exit(1)  # we ended before the line above: nobody would ever stop this child

    return before_exec


@dataclass
class Child:
    """One program, in a session of its own so that the terminal's Ctrl-C reaches only the
    supervisor.
    """

    name: str
    command: Sequence[str | Path]
    env: Mapping[str, str] | None = None
    stop_signal: signal.Signals = signal.SIGTERM
    account: Account | None = None
    log: Path | None = None
    cwd: Path | None = None
    _process: subprocess.Popen[bytes] | None = field(default=None, repr=False)

    def start(self) -> None:
        with contextlib.ExitStack() as opened:
            out = opened.enter_context(self.log.open("ab")) if self.log else None
            self._process = subprocess.Popen(
                [str(word) for word in self.command],
                env=self.env,
                cwd=self.cwd,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT if out else None,
                start_new_session=True,
                preexec_fn=_dies_with(os.getpid(), self.stop_signal),
                user=self.account.uid if self.account else None,
                group=self.account.gid if self.account else None,
                extra_groups=[] if self.account else None,
            )

    @property
    def pid(self) -> int:
        return self._process.pid if self._process else 0

    def ended(self) -> int | None:
        """The exit code, or None while it runs (or never ran)."""
        return self._process.poll() if self._process else None

    @property
    def runs(self) -> bool:
        return self._process is not None and self._process.poll() is None

    def ask_to_stop(self) -> None:
        if self.runs and self._process:
            self._process.send_signal(self.stop_signal)

    def stop(self, within: float = 20.0) -> None:
        """Ask, wait, and end by force what is left of it and of its own children."""
        if self._process is None:
            return
        self.ask_to_stop()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(within)
        self.sweep()
        self._process.wait()

    def sweep(self) -> None:
        """End what a program that crashed left behind in its process group."""
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(self.pid, signal.SIGKILL)


def wait_until(true: Callable[[], bool], *, child: Child, seconds: float) -> bool:
    """Whether ``true`` came to hold within the time and before the child ended."""
    give_up = time.monotonic() + seconds
    while not true():
        if child.ended() is not None or time.monotonic() > give_up:
            return False
        time.sleep(0.02)
    return True
