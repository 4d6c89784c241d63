import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.level.bounds import OutsideTank
from plant.level.heads import Dished
from plant.level.tanks import (
    BadDimension,
    TankShape,
    capacity,
    height_at,
    inside_height,
    outline,
    volume_at,
)

ENDS = ["flat", "cone", "dished", "ellipsoidal", "hemispherical"]


def width_at(shape, heights):
    return sum(shape.body.reach(heights))


def depth_of(kind, diameter, share):
    """Some depth that such an end of this diameter may have."""
    return {"cone": share, "dished": 0.07 + 0.4 * share, "ellipsoidal": share}.get(
        kind, 0
    ) * diameter


# Those with heads come more often: there are thirty ways to close an upright tank.
KINDS = ["vertical", "vertical", "vertical", "horizontal", "horizontal", "rectangular", "sphere"]
UPRIGHT = [kind for kind in KINDS if kind != "horizontal"]


@st.composite
def shapes(draw, kinds=KINDS):
    size = st.floats(0.3, 30)
    share = st.floats(0.05, 1)
    kind = draw(st.sampled_from(kinds))
    diameter, height = draw(size), draw(size)
    bottom, roof = draw(st.sampled_from(ENDS)), draw(st.sampled_from([*ENDS, "open"]))
    return TankShape(
        kind,
        diameter=diameter,
        height=height,
        length=height if kind == "horizontal" else draw(size),
        width=draw(size),
        bottom=bottom,
        bottom_depth=depth_of(bottom, diameter, draw(share)),
        roof=roof,
        roof_depth=depth_of(roof, diameter, draw(share)),
    )


# Of each tank drawn, at many places at once: one that is drawn too, the ends and those beside them.
PLACES = np.array([0.0, 1e-6, 0.01, 0.1, 0.25, 0.5, 0.75, 0.9, 0.99, 1 - 1e-6, 1.0])
few = settings(max_examples=60)


@few
@given(shape=shapes(), share=st.floats(0, 1))
def test_a_higher_level_never_holds_less(shape, share):
    volumes = volume_at(shape, np.sort([*PLACES, share]) * inside_height(shape))
    assert (np.diff(volumes) >= -1e-14 * capacity(shape)).all()
    assert volumes[0] >= 0
    assert volumes[-1] <= capacity(shape) * (1 + 1e-14)


@few
@given(shape=shapes(), share=st.floats(0, 1))
def test_height_of_a_volume_holds_that_volume(shape, share):
    volumes = np.array([*PLACES, share]) * capacity(shape)
    assert volume_at(shape, height_at(shape, volumes)) == pytest.approx(
        volumes, rel=1e-12, abs=1e-13 * capacity(shape)
    )


@few
@given(shape=shapes(), share=st.floats(0.05, 0.9))
def test_height_is_recovered_from_its_volume(shape, share):
    heights = np.array([0.05, 0.1, 0.25, 0.5, 0.75, 0.9, share]) * inside_height(shape)
    # Under a tip that points up the volume hardly changes with the height.
    heights = heights[width_at(shape, heights) > 0.1]
    assert height_at(shape, volume_at(shape, heights)) == pytest.approx(heights, rel=1e-9)


@few
@given(shape=shapes(UPRIGHT), share=st.floats(0.02, 0.98))
def test_volume_grows_by_the_area_of_the_surface(shape, share):
    """The referee knows nothing of the volumes: the drawn section's width gives the surface."""
    top = inside_height(shape)
    heights, step = np.array([0.02, 0.1, 0.3, 0.5, 0.7, 0.9, share]) * top, 1e-5 * top
    wide = width_at(shape, heights)
    area = wide * shape.width if shape.kind == "rectangular" else math.pi * wide**2 / 4
    grown = volume_at(shape, heights + step) - volume_at(shape, heights - step)
    full = capacity(shape) / top
    assert grown / (2 * step) == pytest.approx(area, rel=1e-3, abs=1e-3 * full)


DEEP_ENDS = [
    ("flat", None),
    ("cone", 0.7),
    ("dished", 0.4),
    ("ellipsoidal", 0.6),
    ("hemispherical", 1),
]


@pytest.mark.parametrize(("far", "far_depth"), DEEP_ENDS)
@pytest.mark.parametrize(("near", "near_depth"), DEEP_ENDS)
def test_unlike_ends_hold_half_of_what_two_tanks_with_two_alike_hold(
    near, near_depth, far, far_depth
):
    def lying(**ends) -> TankShape:
        return TankShape("horizontal", diameter=2, length=3, **ends)

    one = {"bottom": near, "bottom_depth": near_depth}
    other = {"far_end": far, "far_end_depth": far_depth}
    alike = lying(**one), lying(bottom=far, bottom_depth=far_depth)
    heights = np.linspace(0.0, 2.0, 41)
    half = sum(np.asarray(volume_at(shape, heights)) for shape in alike) / 2
    unlike = lying(**one, **other)
    assert volume_at(unlike, heights) == pytest.approx(half, rel=1e-9, abs=1e-12)
    turned = lying(bottom=far, bottom_depth=far_depth, far_end=near, far_end_depth=near_depth)
    assert volume_at(turned, heights) == pytest.approx(volume_at(unlike, heights))
    assert height_at(unlike, volume_at(unlike, 0.7)) == pytest.approx(0.7)


def test_an_unlike_end_is_drawn_on_its_own_side_and_refused_by_its_own_name():
    shape = TankShape("horizontal", diameter=2, length=6, bottom="flat", far_end="hemispherical")
    corners = outline(shape)
    assert max(x for x, _ in corners) == pytest.approx(3.0)
    assert min(x for x, _ in corners) == pytest.approx(-4.0)
    heights = np.linspace(0, 2, 2001)
    assert area(corners) == pytest.approx(np.mean(width_at(shape, heights)) * 2, rel=5e-3)
    with pytest.raises(BadDimension) as refused:
        TankShape("horizontal", diameter=2, length=6, far_end="cone")
    assert refused.value.argument == "far_end_depth"


@pytest.mark.parametrize("end", ["cone", "dished", "ellipsoidal", "hemispherical"])
def test_a_head_holds_the_same_lying_and_standing(end):
    depth = {"cone": 0.7, "dished": 0.4, "ellipsoidal": 0.6}.get(end)
    standing = TankShape(
        "vertical", diameter=2, height=3, bottom=end, bottom_depth=depth, roof=end, roof_depth=depth
    )
    lying = TankShape("horizontal", diameter=2, length=3, bottom=end, bottom_depth=depth)
    assert capacity(lying) == pytest.approx(capacity(standing), rel=1e-12)
    assert volume_at(lying, 1.0) == pytest.approx(capacity(lying) / 2, rel=1e-9)


def test_a_dish_without_a_knuckle_is_the_cap_of_a_sphere():
    depth, radius = 0.4, 1.0
    crown = (radius**2 + depth**2) / (2 * depth)
    cap = math.pi * depth**2 * (3 * crown - depth) / 3
    assert Dished(radius, depth, crown).volume == pytest.approx(cap, rel=1e-12)


def test_an_ellipsoidal_end_without_a_depth_is_a_quarter_of_the_diameter_deep():
    shape = TankShape("vertical", diameter=2, height=3, bottom="ellipsoidal", roof="flat")
    half_ellipsoid = 2 / 3 * math.pi * 1**2 * 0.5  # depth a half of the radius
    assert capacity(shape) == pytest.approx(math.pi * 3 + half_ellipsoid, rel=1e-9)


def test_volume_of_a_lying_dished_tank_equals_slices_summed_anew():
    shape = TankShape("horizontal", diameter=2.0, length=3.0, bottom="dished", bottom_depth=0.45)
    levels = np.linspace(0, 0.8, 40_001)
    middle = (levels[:-1] + levels[1:]) / 2
    chord = 2 * np.sqrt(1 - (middle - 1) ** 2)
    # A slice of the head at one height: its wall is reach_at of the distance off the axis.
    across = (np.arange(2000) + 0.5) / 2000
    head = shape.body.head
    heads = np.array(
        [
            np.mean(head.reach_at(np.hypot(across * c / 2, 1 - z))) * c
            for z, c in zip(middle[::40], chord[::40], strict=True)
        ]
    )
    slices = chord * 3.0 + 2 * np.interp(middle, middle[::40], heads)
    assert volume_at(shape, 0.8) == pytest.approx(slices.sum() * levels[1], rel=1e-5)


def test_hemisphere_is_a_dished_end_as_deep_as_its_radius():
    round_end = TankShape("vertical", diameter=2, height=1, bottom="hemispherical")
    dished = TankShape("vertical", diameter=2, height=1, bottom="dished", bottom_depth=1.0)
    heights = np.linspace(0, 2, 21)
    assert volume_at(dished, heights) == pytest.approx(volume_at(round_end, heights), rel=1e-12)


def test_horizontal_tank_takes_its_length_from_either_column():
    by_length = TankShape("horizontal", diameter=2, length=5)
    by_height = TankShape("horizontal", diameter=2, height=5)
    assert capacity(by_length) == capacity(by_height) == pytest.approx(5 * math.pi)


@pytest.mark.parametrize("height", [-0.01, 3.01, math.nan])
def test_height_outside_the_tank_is_refused_and_never_clamped(height):
    shape = TankShape("vertical", diameter=2, height=3)
    with pytest.raises(OutsideTank, match="outside the tank, which goes from 0 to 3 m") as refusal:
        volume_at(shape, [1.0, height])
    assert refusal.value.highest == 3.0


@pytest.mark.parametrize("volume", [-0.01, 9.5, math.nan])
def test_volume_the_tank_cannot_hold_is_refused(volume):
    with pytest.raises(OutsideTank, match="volume"):
        height_at(TankShape("vertical", diameter=2, height=3), volume)


def test_rounding_of_a_unit_does_not_put_the_brim_outside():
    shape = TankShape("vertical", diameter=2, height=0.1 + 0.2)
    assert volume_at(shape, 0.3) == pytest.approx(0.3 * math.pi)
    assert volume_at(TankShape("vertical", diameter=2, height=0.3), 0.1 + 0.2) == pytest.approx(
        0.3 * math.pi
    )


@pytest.mark.parametrize(
    ("given", "argument", "reason"),
    [
        ({"kind": "oval", "diameter": 2}, "kind", "none of vertical"),
        ({"kind": "vertical", "diameter": 2}, "height", "above zero"),
        ({"kind": "vertical", "height": 2}, "diameter", "above zero"),
        ({"kind": "vertical", "diameter": -2, "height": 2}, "diameter", "above zero"),
        ({"kind": "vertical", "diameter": math.inf, "height": 2}, "diameter", "above zero"),
        ({"kind": "horizontal", "diameter": 2}, "length", "above zero"),
        ({"kind": "horizontal", "diameter": 2, "length": 3, "height": 4}, "length", "one straight"),
        ({"kind": "rectangular", "length": 2, "height": 3}, "width", "above zero"),
        ({"kind": "sphere"}, "diameter", "above zero"),
        ({"bottom": "open"}, "bottom", "none of flat, cone"),
        ({"bottom": "cone"}, "bottom_depth", "a cone needs its depth"),
        ({"roof": "cone", "roof_depth": -1}, "roof_depth", "zero or above"),
        ({"roof": "open", "roof_depth": 0.2}, "roof_depth", "has no depth"),
        ({"bottom": "hemispherical", "bottom_depth": 0.5}, "bottom_depth", "1 m"),
        ({"bottom": "dished", "bottom_depth": 0.1}, "bottom_depth", "deeper than its knuckle"),
        ({"bottom": "dished", "bottom_depth": 0.12}, "bottom_depth", "deeper than its knuckle"),
        ({"bottom": "dished", "bottom_depth": 1.2}, "bottom_depth", "no deeper than 1 m"),
        ({"bottom": "dished", "knuckle": 0.5}, "knuckle", "below 0.5"),
    ],
)
def test_dimensions_that_give_no_tank_are_refused_by_name(given, argument, reason):
    dimensions = (
        given if "kind" in given else {"kind": "vertical", "diameter": 2, "height": 3, **given}
    )
    with pytest.raises(BadDimension, match=reason) as refusal:
        TankShape(**dimensions)
    assert refusal.value.argument == argument


# ---- outline ----
def area(corners):
    """By the shoelace formula; positive where the corners run anticlockwise."""
    x, z = np.array(corners).T
    return float(x @ np.roll(z, -1) - z @ np.roll(x, -1)) / 2


@few
@given(shape=shapes())
def test_outline_encloses_the_drawn_section_and_touches_its_ends(shape):
    corners = outline(shape)
    x, z = np.array(corners).T
    top = inside_height(shape)
    assert (z.min(), z.max()) == pytest.approx((0.0, top), abs=1e-12)
    assert x.max() == pytest.approx(-x.min())
    heights = (np.arange(1000) + 0.5) / 1000 * top
    assert area(corners) == pytest.approx(np.mean(width_at(shape, heights)) * top, rel=5e-3)


def test_outline_of_a_cone_bottom_has_its_tip_in_the_middle():
    shape = TankShape("vertical", diameter=2, height=3, bottom="cone", bottom_depth=0.5)
    assert outline(shape) == [(0, 0), (1, 0.5), (1, 3.5), (-1, 3.5), (-1, 0.5)]


def test_outline_of_a_lying_tank_shows_its_length():
    shape = TankShape("horizontal", diameter=2, length=6, bottom="cone", bottom_depth=0.5)
    assert outline(shape) == [(3, 0), (3.5, 1), (3, 2), (-3, 2), (-3.5, 1), (-3, 0)]
