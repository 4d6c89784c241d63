"""The tank drawing to scale: metres in, SVG coordinates and labels out. No models, no HTML.

Everything is placed here so that the template only prints it: x grows to the right, y downwards,
one unit is one CSS pixel when the picture is shown WIDTH wide.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from plant.quantities import number, quantity

Outline = Sequence[tuple[float, float]]

WIDTH = 460.0
SCALE_ROOM, LABEL_ROOM = 44.0, 182.0  # left and right of the tank
TANK_WIDTH, TANK_HEIGHT = 230.0, 300.0  # the most room the tank itself may take
TOP, BOTTOM = 62.0, 36.0  # room for heads and tags above, for bottom-mounted heads below
LABEL_GAP = 18.0
TAG_CHARACTER = 8.5


@dataclass(frozen=True)
class DrawnPoint:
    """One measuring point on the tank. Heights in metres above the tank's datum.

    reach: height of the probe's lower end; None for a device that only looks down from the roof.
    bottom: the device sits at the bottom instead of hanging from the roof.
    The labels are texts such as "8.40 m, 20 mA"; without them metres are printed.
    """

    tag: str
    lower: float
    upper: float
    reach: float | None = None
    bottom: bool = False
    lower_label: str = ""
    upper_label: str = ""


@dataclass(frozen=True)
class HeightRow:
    """One line of the table beneath: numbers or None, printed by the template."""

    level: float | None
    volume: float | None
    signal: float | None


@dataclass(frozen=True)
class Probe:
    tag: str
    x: float
    head_y: float
    top: float
    foot: float
    tag_y: float
    other: bool  # not the point the page is about
    bracket: str  # path of its range beside the probe, "" where lines show it


@dataclass(frozen=True)
class Mark:
    """A line across the tank with its label; kind: lower, upper or now."""

    kind: str
    y: float
    x0: float
    x1: float
    label: str
    label_y: float
    leader: str


@dataclass(frozen=True)
class Tick:
    y: float
    label: str


@dataclass(frozen=True)
class Drawing:
    height: float
    outline: str
    product: str
    insulating: bool
    marks: list[Mark]
    probes: list[Probe]
    ticks: list[Tick]
    scale_x: float
    scale_top: float
    scale_foot: float
    label_x: float
    sentence: str
    rows: list[HeightRow]


@dataclass(frozen=True)
class _Scale:
    """Metres to picture."""

    factor: float
    left: float
    foot: float
    x_low: float
    z_low: float

    def x(self, metres: float) -> float:
        return self.left + (metres - self.x_low) * self.factor

    def y(self, metres: float) -> float:
        return self.foot - (metres - self.z_low) * self.factor


def draw_tank(
    outline: Outline,
    points: Sequence[DrawnPoint],
    *,
    inside_height: float,
    datum: float = 0.0,
    about: str = "",
    surface: float | None = None,
    surface_label: str = "",
    conducting: bool = True,
    rows: Sequence[HeightRow] = (),
) -> Drawing:
    """Place everything. outline: (x, z) in m, z above the lowest point, in order round the tank.

    inside_height: above the lowest point, m. datum: the datum plate above the lowest point, m; all
    levels, the scale's too, count from it.
    about: tag of the point the page is about (its range is drawn as lines across the tank); with
    one point that is the one. surface: the product's level in metres, or None when unknown.
    """
    about = about or (points[0].tag if len(points) == 1 else "")
    outline = [(x, z - datum) for x, z in outline]
    top = inside_height - datum
    scale = _scale(outline)
    right = max(scale.x(x) for x, _ in outline)
    probes = _probes(points, about, outline, scale)
    marks = _marks(points, about, surface, surface_label, scale, right)
    return Drawing(
        height=round(scale.foot + BOTTOM, 1),
        outline=_path([(scale.x(x), scale.y(z)) for x, z in outline]),
        product=_product(outline, surface, scale),
        insulating=not conducting,
        marks=marks,
        probes=probes,
        ticks=_ticks(top, scale),
        scale_x=round(scale.left - 20, 1),
        scale_top=round(scale.y(top), 1),
        scale_foot=round(scale.y(0), 1),
        label_x=round(right + 30, 1),
        sentence=_sentence(points, inside_height, surface_label, surface, conducting),
        rows=list(rows),
    )


def _scale(outline: Outline) -> _Scale:
    xs, zs = [x for x, _ in outline], [z for _, z in outline]
    wide, tall = max(xs) - min(xs), max(zs) - min(zs)
    factor = min(TANK_WIDTH / wide, TANK_HEIGHT / tall)
    return _Scale(
        factor=factor,
        left=SCALE_ROOM + (WIDTH - SCALE_ROOM - LABEL_ROOM - wide * factor) / 2,
        foot=TOP + tall * factor,
        x_low=min(xs),
        z_low=min(zs),
    )


def _path(corners: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in corners) + "Z" if corners else ""


# ---- product ----
def below(outline: Outline, level: float) -> list[tuple[float, float]]:
    """The part of the outline at or below ``level``, cut level.

    >>> below([(0, 0), (2, 0), (2, 4), (0, 4)], 1)
    [(0.0, 1.0), (0, 0), (2, 0), (2.0, 1.0)]
    """
    kept: list[tuple[float, float]] = []
    for (x0, z0), (x1, z1) in zip([outline[-1], *outline[:-1]], outline, strict=True):
        if (z0 <= level) != (z1 <= level):
            share = (level - z0) / (z1 - z0)
            kept.append((x0 + share * (x1 - x0), float(level)))
        if z1 <= level:
            kept.append((x1, z1))
    return kept


def _product(outline: Outline, surface: float | None, scale: _Scale) -> str:
    if surface is None:
        return ""
    return _path([(scale.x(x), scale.y(z)) for x, z in below(outline, surface)])


def across(outline: Outline, x: float) -> tuple[float, float]:
    """Lowest and highest inside height at this distance from the left, m."""
    heights = [
        z0 + (x - x0) / (x1 - x0) * (z1 - z0)
        for (x0, z0), (x1, z1) in zip(outline, [*outline[1:], outline[0]], strict=True)
        if x0 != x1 and min(x0, x1) <= x <= max(x0, x1)
    ]
    return (min(heights), max(heights)) if heights else (0.0, 0.0)


# ---- probes ----
def _probes(
    points: Sequence[DrawnPoint], about: str, outline: Outline, scale: _Scale
) -> list[Probe]:
    low = min(x for x, _ in outline)
    wide = max(x for x, _ in outline) - low
    shares = [0.7] if len(points) == 1 else _spread(len(points))
    places = [low + share * wide for share in shares]
    apart = scale.factor * (places[1] - places[0]) if len(places) > 1 else math.inf
    return [
        _probe(
            point,
            x,
            about,
            across(outline, x),
            # Tags that would run into each other stand on two levels.
            raised=bool(i % 2) and apart < TAG_CHARACTER * max(len(p.tag) for p in points),
            scale=scale,
        )
        for i, (point, x) in enumerate(zip(points, places, strict=True))
    ]


def _spread(count: int) -> list[float]:
    return [0.2 + 0.6 * i / (count - 1) for i in range(count)] if count else []


def _probe(
    point: DrawnPoint,
    x_metres: float,
    about: str,
    inside: tuple[float, float],
    *,
    raised: bool,
    scale: _Scale,
) -> Probe:
    x, roof, floor = scale.x(x_metres), scale.y(inside[1]), scale.y(inside[0])
    if point.bottom:
        top, foot, head_y, tag_y = floor - 4, floor + 4, floor + 3, floor + 32
    else:
        foot = roof + 16 if point.reach is None else min(scale.y(point.reach), floor)
        top, head_y = roof, roof - 16
        tag_y = head_y - (20 if raised else 6)
    # Where several ranges share the tank, lines across it for each could not be kept apart.
    return Probe(
        tag=point.tag,
        x=round(x, 1),
        head_y=round(head_y, 1),
        top=round(top, 1),
        foot=round(foot, 1),
        tag_y=round(tag_y, 1),
        other=bool(about) and point.tag != about,
        bracket="" if point.tag == about else _bracket(point, x, scale),
    )


def _bracket(point: DrawnPoint, x: float, scale: _Scale) -> str:
    low, high, edge = scale.y(point.lower), scale.y(point.upper), x + 9
    return f"M{edge - 4:.1f} {high:.1f}H{edge:.1f}V{low:.1f}H{edge - 4:.1f}"


# ---- range lines, surface and their labels ----
def _marks(
    points: Sequence[DrawnPoint],
    about: str,
    surface: float | None,
    surface_label: str,
    scale: _Scale,
    right: float,
) -> list[Mark]:
    wanted: list[tuple[str, float, str]] = []
    for point in points:
        if about and point.tag != about:
            continue
        prefix = "" if about else f"{point.tag} "
        wanted.append(("lower", point.lower, prefix + (point.lower_label or _metres(point.lower))))
        wanted.append(("upper", point.upper, prefix + (point.upper_label or _metres(point.upper))))
    if surface is not None:
        wanted.append(("now", surface, surface_label or f"now {_metres(surface)}"))
    wanted.sort(key=lambda mark: -mark[1])
    heights = [scale.y(level) for _, level, _ in wanted]
    placed = nudge(heights, LABEL_GAP, lowest=16.0, highest=scale.foot + BOTTOM - 8)
    return [
        _mark(kind, y, label, label_y, scale.left - 8, right + 10)
        for (kind, _, label), y, label_y in zip(wanted, heights, placed, strict=True)
    ]


def _mark(kind: str, y: float, label: str, label_y: float, x0: float, x1: float) -> Mark:
    leader = f"M{x1:.1f} {y:.1f}L{x1 + 16:.1f} {label_y:.1f}"
    return Mark(kind, round(y, 1), round(x0, 1), round(x1, 1), label, round(label_y, 1), leader)


def nudge(wanted: Sequence[float], gap: float, *, lowest: float, highest: float) -> list[float]:
    """Places for labels wanted at these heights (ascending), at least ``gap`` apart and inside.

    >>> nudge([10, 12, 60], 16, lowest=0, highest=70)
    [10, 26, 60]
    >>> nudge([50, 64, 66], 16, lowest=0, highest=70)
    [38, 54, 70]
    """
    placed: list[float] = []
    for y in wanted:
        placed.append(max(y, placed[-1] + gap) if placed else max(y, lowest))
    ceiling = highest
    for i in range(len(placed) - 1, -1, -1):
        placed[i] = min(placed[i], ceiling)
        ceiling = placed[i] - gap
    return placed


def _metres(level: float) -> str:
    return f"{quantity(level, 'm')} m"


# ---- the scale at the left ----
def _ticks(top: float, scale: _Scale) -> list[Tick]:
    step = tick_step(top, top * scale.factor / 26)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    count = math.floor(top / step + 1e-9) + 1
    return [Tick(round(scale.y(i * step), 1), number(i * step, decimals)) for i in range(count)]


def tick_step(length: float, room: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that makes at most ``room`` or 10 steps.

    >>> tick_step(8.4, 13), tick_step(2.5, 4), tick_step(12, 12)
    (1.0, 1.0, 2.0)
    """
    most = max(2.0, min(room, 10.0))
    power = 10.0 ** math.floor(math.log10(length / most))
    return next(power * f for f in (1.0, 2.0, 5.0, 10.0) if length / (power * f) <= most)


def _sentence(
    points: Sequence[DrawnPoint],
    inside_height: float,
    surface_label: str,
    surface: float | None,
    conducting: bool,
) -> str:
    """The picture in words."""
    parts = [f"Tank drawn to scale, {_metres(inside_height)} high inside"]
    if not conducting:
        parts[0] += ", non-conducting wall"
    parts += [
        f"{p.tag} {'at the bottom' if p.bottom else 'from the roof'}: "
        f"lower range value {p.lower_label or _metres(p.lower)}, "
        f"upper range value {p.upper_label or _metres(p.upper)}"
        for p in points
    ]
    if surface is not None:
        parts.append(surface_label or f"product at {_metres(surface)}")
    return "; ".join(parts)
