"""What all charts share: axes, the look, the script that draws them. Each chart stands in its room.

A chart is one Vega-Lite dict. Colours are names of the look's tokens ("var(--ink)"): the browser
fills them in, so that a chart follows the theme and the paper by itself. Every time scale is UTC,
or the same chart would differ by a day between time zones.
"""

from __future__ import annotations

from importlib.metadata import version
from pathlib import Path
from typing import Any

from plant.quantities import percent_decimals

Spec = dict[str, Any]
Number = float | int

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
PLUS_MINUS = "datum.value == 0 ? '0' : format(datum.value, '+.{}f')"


# ---- what charts of errors share ----
def tolerance_band(tolerance: Number) -> list[Spec]:
    """The band from −tolerance to +tolerance, and its two edges."""
    rows = [{"low": -tolerance, "high": tolerance}]
    edges = [{"at": -tolerance}, {"at": tolerance}]
    return [
        {
            "data": {"values": rows},
            "mark": {"type": "rect", "color": "var(--band)"},
            "encoding": {"y": {"field": "low"}, "y2": {"field": "high"}},
        },
        {
            "data": {"values": edges},
            "mark": {"type": "rule", "stroke": "var(--band-edge)"},
            "encoding": {"y": {"field": "at"}},
        },
    ]


def zero_line() -> Spec:
    mark = {"type": "rule", "stroke": "var(--edge)", "strokeDash": [2, 2]}
    return {"data": {"values": [{"at": 0}]}, "mark": mark, "encoding": {"y": {"field": "at"}}}


def error_axis(title: str, tolerance: Number) -> Spec:
    """Signed errors, with the digits that a tolerance deserves."""
    digits = percent_decimals(tolerance)
    axis = {"labelExpr": PLUS_MINUS.format(digits), "grid": True, "tickCount": 6, "domain": False}
    scale = {"zero": True, "nice": False, "padding": 8}
    return {"field": "y", "type": "quantitative", "title": title, "axis": axis, "scale": scale}


def layered(layers: list[Spec], *, x: Spec, y: Spec, height: int) -> Spec:
    """Layers on common axes, in the look's hairlines. Each layer names its own fields."""
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
