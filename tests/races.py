"""Several acts at once: each in a thread and on a connection of its own, begun together.

The test must be marked ``django_db(transaction=True)``: another connection sees only what is
committed.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from django.db import connections

from plant.refusals import Refused

PATIENCE = 60


def at_once(*acts: Callable[[], Any]) -> list[Any]:
    """What each act returned or the error it raised, in the order of the acts."""
    start, results = threading.Barrier(len(acts)), [None] * len(acts)

    def run(number: int, act: Callable[[], Any]) -> None:
        try:
            start.wait()
            results[number] = act()
        except Exception as error:
            results[number] = error
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=each, daemon=True) for each in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(PATIENCE)
        assert not thread.is_alive(), "two acts wait for each other"
    return results


def outcomes(*acts: Callable[[], Any]) -> list[str]:
    """``done`` for each act that was done at once with the others, else the words of its refusal;
    sorted.
    """
    return sorted(_outcome(result) for result in at_once(*acts))


def _outcome(result: Any) -> str:
    if isinstance(result, Exception) and not isinstance(result, Refused):
        raise result
    return str(result) if isinstance(result, Refused) else "done"
