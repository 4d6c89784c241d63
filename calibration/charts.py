"""What all charts share: axes, the look, the script that draws them. Each chart stands in its room.

A chart is one Vega-Lite dict. Colours are names of the look's tokens ("var(--ink)"): the browser
fills them in, so that a chart follows the theme and the paper by itself. Every time scale is UTC,
or the same chart would differ by a day between time zones.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from calibration.chart_marks import EDGE, TOLERANCE, Mark, Spec, key_of
from plant.level.tolerance import Limits
from plant.quantities import percent, percent_decimals, with_unit

Number = float | int

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
PLUS_MINUS = "datum.value == 0 ? '0' : format(datum.value, '+.{}f')"


# ---- what charts of errors share ----
LABEL_ROOM = 20  # pixels outside the tolerance, or the furthest mark, where a word fits


@dataclass(frozen=True)
class ErrorScale:
    """Errors in % of span from ``low`` to ``high`` over so many pixels."""

    low: float
    high: float
    height: int

    def pixels(self, difference: float) -> float:
        return difference * self.height / (self.high - self.low)


def error_scale(values: Iterable[Number], limits: Limits, height: int) -> ErrorScale:
    """Wide enough for the values, the tolerance and the words outside it."""
    every = [*limits.frame, *(float(value) for value in values)]
    low, high = min(every), max(every)
    room = (high - low) * LABEL_ROOM / (height - 2 * LABEL_ROOM)
    return ErrorScale(low - room, high + room, height)


def tolerance_band(limits: Limits, between: tuple[str, str] | None = None) -> list[Spec]:
    """The band of the tolerance and its edges; all along, or ``between`` two ISO days. An open side
    reaches to the edge of the plot and has no edge of its own.
    """
    ends = {"from": between[0], "to": between[1]} if between else {}
    along = {"x": {"field": "from"}, "x2": {"field": "to"}} if between else {}
    return [
        {
            "data": {"values": [{"low": -limits.down, "high": limits.up} | ends]},
            "mark": TOLERANCE.spec(clip=True),
            "encoding": {"y": {"field": "low"}, "y2": {"field": "high"}} | along,
        },
        {
            "data": {"values": [{"at": at} | ends for at in limits.edges]},
            "mark": EDGE.spec(),
            "encoding": {"y": {"field": "at"}} | along,
        },
    ]


def tolerance_words(limits: Limits, since: str = "") -> list[Spec]:
    """The values of the edges, outside the band: above and below it, or before the ISO day on which
    it begins.
    """
    layers: list[Spec] = []
    for at in limits.edges:
        rows = [{"at": at, "since": since, "text": _edge_text(at, limits.size)}]
        look: Spec = {"align": "left", "x": 4, "baseline": "top", "dy": 5}
        if at > 0:
            look |= {"baseline": "bottom", "dy": -4}
        place: Spec = {"y": {"field": "at"}}
        if since:
            look = {"align": "right", "baseline": "middle", "dx": -8}
            place["x"] = {"field": "since"}
        layers += words(rows, place, color="var(--ink)", **look)
    return layers


def _edge_text(limit: Number, tolerance: Number) -> str:
    return with_unit(f"tolerance {percent(limit, tolerance)}", "%")


def words(rows: list[Spec], encoding: Spec, **look: Any) -> list[Spec]:
    """The ``text`` of each row, where the encoding puts it; what lies behind it is cleared."""
    clear = {"stroke": "var(--sheet)", "strokeWidth": 4, "color": "var(--sheet)"}
    return [
        {
            "data": {"values": rows},
            "mark": {"type": "text", "lineBreak": "\n"} | look | more,
            "encoding": encoding | {"text": {"field": "text"}},
        }
        for more in (clear, {})
    ]


def zero_line() -> Spec:
    mark = {"type": "rule", "stroke": "var(--edge)", "strokeDash": [2, 2]}
    return {"data": {"values": [{"at": 0}]}, "mark": mark, "encoding": {"y": {"field": "at"}}}


def error_axis(title: str, limits: Limits, scale: ErrorScale) -> Spec:
    """Signed errors, with the digits that a tolerance deserves."""
    digits = percent_decimals(limits.size)
    axis = {"labelExpr": PLUS_MINUS.format(digits), "grid": True, "tickCount": 6, "domain": False}
    return {
        "field": "y",
        "type": "quantitative",
        "title": title,
        "axis": axis,
        "scale": {"domain": [scale.low, scale.high], "nice": False, "zero": False},
    }


def layered(layers: list[Spec], *, x: Spec, y: Spec, height: int, key: Iterable[Mark] = ()) -> Spec:
    """Layers on common axes, in the look's hairlines. Each layer names its own fields.

    key: the marks that the key beneath the chart names.
    """
    for layer in layers:
        encoding = layer["encoding"]
        for channel, whole in (("x", x), ("y", y)):
            if channel in encoding:
                encoding[channel] = whole | {"field": encoding[channel]["field"]}
    return {
        "$schema": SCHEMA,
        "width": "container",
        "height": height,
        "autosize": {"type": "fit-x", "contains": "padding"},
        "background": None,
        "layer": layers,
        "config": _config(),
        **key_of(key),
    }


def _config() -> Spec:
    hairline = {
        "domainColor": "var(--edge)",
        "tickColor": "var(--edge)",
        "gridColor": "var(--line)",
    }
    words = {"labelColor": "var(--soft)", "titleColor": "var(--soft)", "labelFontSize": 12}
    return {
        # The figure carries one description for the whole; its parts need no voice of their own.
        "aria": False,
        "mark": {"aria": False},
        "font": "var(--text)",
        "view": {"stroke": None},
        "axis": {"aria": False}
        | hairline
        | words
        | {"titleFontSize": 12, "titleFontWeight": "normal"},
        "legend": {
            "aria": False,
            "labelColor": "var(--soft)",
            "labelFontSize": 12,
            "symbolSize": 80,
        },
        "text": {"fontSize": 12},
    }


# ---- the script of the pages ----
def ensure_script(folder: Path) -> Path:
    """The drawing library for pages, written to ``folder``/vega.js unless this version is there."""
    import vl_convert

    path = folder / "vega.js"
    first_line = f"// drawing library of vl-convert {version('vl-convert-python')}\n"
    if path.exists():
        with path.open(encoding="utf-8") as file:
            if file.readline() == first_line:
                return path
    folder.mkdir(parents=True, exist_ok=True)
    fresh = path.with_suffix(".new")
    # Its stub forgets that the argument has a default.
    library = vl_convert.javascript_bundle()  # type: ignore[call-arg]
    fresh.write_text(first_line + library, encoding="utf-8")
    # Put in place whole: a server that starts beside us must never read half a script.
    fresh.replace(path)
    return path
