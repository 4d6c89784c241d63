"""The marks of the charts: how a chart draws each, and how the key beneath it shows the same.

Colours are names of the look's tokens, as in charts.py.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

Spec = dict[str, Any]


@dataclass(frozen=True, eq=False)
class Mark:
    """``kind`` and ``look``: its type and properties in Vega-Lite. ``path``: the same shape in the
    key's box, 24 by 16.
    """

    name: str
    kind: str
    path: str
    look: Spec = field(default_factory=dict)

    def spec(self, **more: Any) -> Spec:
        """The mark of a layer; ``more``: properties of that layer alone."""
        return {"type": self.kind} | self.look | more

    def key(self) -> Spec:
        """What the key's small picture needs: a path and its attributes."""
        look = self.look
        drawn: Spec = {"fill": "none", "stroke": "none"}
        drawn["fill" if self.kind in ("area", "rect") else "stroke"] = look.get("color", "none")
        drawn |= {part: look[part] for part in ("fill", "stroke", "opacity") if part in look}
        dash = " ".join(map(str, look.get("strokeDash", ())))
        width = look.get("strokeWidth", 1)
        return drawn | {"name": self.name, "path": self.path, "width": width, "dash": dash}


def key_of(marks: Iterable[Mark]) -> Spec:
    """Where a chart keeps its key; the drawing library leaves this alone."""
    return {"usermeta": {"key": [mark.key() for mark in marks]}}


# ---- shapes in the key's box ----
RING = "M6.8 8a5.2 5.2 0 1 0 10.4 0a5.2 5.2 0 1 0 -10.4 0z"
DOT = "M9 8a3 3 0 1 0 6 0a3 3 0 1 0 -6 0z"
DIAMOND = "M12 1.8 18.2 8 12 14.2 5.8 8z"
SQUARE = "M6.8 2.8h10.4v10.4h-10.4z"
SMALL_DIAMOND = "M12 4 16 8l-4 4-4-4z"
TRIANGLE = "M12 4l4.6 8h-9.2z"
FALLEN = "M12 13.5 6 3h12z"
ARROW = "M12 15V7M8 8l4 -6.5 4 6.5z"
LINE = "M1 8H23"
POST = "M12 0V16"
BOX = "M2 2H22V14H2z"

# ---- what charts share ----
_POINT = {"filled": True, "opacity": 1}
FOUND = Mark(
    "as found",
    "point",
    RING,
    _POINT
    | {
        "shape": "circle",
        "size": 78,
        "strokeWidth": 1.8,
        "fill": "var(--sheet)",
        "stroke": "var(--ink)",
    },
)
FOUND_OUT = Mark(
    "found out of tolerance",
    "point",
    DIAMOND,
    FOUND.look | {"shape": "diamond", "size": 110, "strokeWidth": 2.2, "stroke": "var(--bad)"},
)
FOUND_FAILED = Mark(
    "failed at another reading",
    "point",
    SQUARE,
    FOUND_OUT.look | {"shape": "square", "size": 85},
)
LEFT = Mark(
    "as left",
    "point",
    DOT,
    _POINT | {"shape": "circle", "size": 34, "strokeWidth": 0, "fill": "var(--ink)"},
)
LEFT_OUT = Mark(
    "left out of tolerance",
    "point",
    SMALL_DIAMOND,
    LEFT.look | {"shape": "diamond", "size": 60, "fill": "var(--bad)"},
)
EXPECTED = Mark("expected", "line", LINE, {"color": "var(--accent)", "strokeWidth": 2})
BAND = Mark("95 % band", "area", BOX, {"color": "var(--accent)", "opacity": 0.2})
TOLERANCE = Mark("tolerance", "rect", BOX, {"color": "var(--band)"})
EDGE = Mark("its limits", "rule", LINE, {"stroke": "var(--band-edge)"})
