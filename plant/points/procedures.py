"""The procedures a measuring point may follow. They belong to calibration, which offers them here
when it starts.
"""

from __future__ import annotations

from collections.abc import Callable

Choices = list[tuple[str, str]]
_sources: list[Callable[[], Choices]] = []


def offer(source: Callable[[], Choices]) -> None:
    """``source`` gives (key, name) pairs; asked whenever a form is shown."""
    _sources.append(source)


def choices() -> Choices:
    return [pair for source in _sources for pair in source()]
