"""Charts drawn as in a page, by the same library."""

import json
from typing import Any

import vl_convert


def drawn(spec: dict[str, Any]) -> str:
    """The chart as SVG; raises ValueError where the library does not understand it."""
    return vl_convert.vegalite_to_svg(json.dumps(spec))
