"""Tank volumes against TNK-01 to TNK-09, and against fluids as a referee."""

import numpy as np
import pytest
from fluids.geometry import TANK

from plant.level.strapping import Strapping
from plant.level.tanks import TankShape, capacity, height_at, inside_height, volume_at
from plant.level.units import to_metres
from tests.published.reference import near, reference

GALLON = 231 * 0.0254**3  # US gallon of 231 cubic inches, m³

HORIZONTAL_ENDS = {"TNK-01": "cone", "TNK-02": "ellipsoidal", "TNK-03": "dished"}
# A spherical bottom is a dished one without a knuckle.
VERTICAL_BOTTOMS = {"TNK-04": ("cone", 0.06), "TNK-05": ("dished", 0.0)}


@pytest.mark.parametrize("name", HORIZONTAL_ENDS)
def test_horizontal_tank_holds_what_jones_printed(name):
    """D. Jones, Computing Fluid Tank Volumes."""
    inputs, expected = reference(name)
    depth = inputs.get("head_depth_in")
    shape = TankShape(
        "horizontal",
        diameter=to_metres(inputs["D_in"], "in"),
        length=to_metres(inputs["L_in"], "in"),
        bottom=HORIZONTAL_ENDS[name],
        bottom_depth=depth and to_metres(depth, "in"),
        knuckle=inputs.get("k", 0.06),
    )
    volumes = volume_at(shape, to_metres(np.array(inputs["h_in"]), "in"))
    assert volumes / GALLON == near(name, expected["volume_gal"])


@pytest.mark.parametrize("name", VERTICAL_BOTTOMS)
def test_vertical_tank_holds_what_jones_printed(name):
    """D. Jones, Computing Fluid Tank Volumes."""
    inputs, expected = reference(name)
    bottom, knuckle = VERTICAL_BOTTOMS[name]
    shape = TankShape(
        "vertical",
        diameter=to_metres(inputs["D_in"], "in"),
        height=to_metres(120, "in"),
        bottom=bottom,
        bottom_depth=to_metres(inputs["bottom_depth_in"], "in"),
        roof="open",
        knuckle=knuckle,
    )
    volumes = volume_at(shape, to_metres(np.array(inputs["h_in"]), "in"))
    assert volumes / GALLON == near(name, expected["volume_gal"])


def test_hemispherical_ends_follow_the_closed_form_tnk_07():
    inputs, expected = reference("TNK-07")
    shape = TankShape(
        "horizontal", diameter=inputs["D_m"], length=inputs["L_m"], bottom="hemispherical"
    )
    assert volume_at(shape, inputs["h_m"]) == near("TNK-07", expected["volume_m3"])


def test_cone_bottom_and_cone_roof_tnk_08():
    inputs, expected = reference("TNK-08")
    shape = TankShape(
        "vertical",
        diameter=inputs["D_m"],
        height=inputs["L_m"],
        bottom="cone",
        bottom_depth=inputs["bottom_depth_m"],
        roof="cone",
        roof_depth=inputs["top_height_m"],
    )
    assert volume_at(shape, inputs["h_m"]) == near("TNK-08", expected["volume_m3"])
    assert height_at(shape, expected["volume_m3"][:-1]) == near("TNK-08", inputs["h_m"][:-1])


def test_strapping_table_both_ways_tnk_09():
    inputs, expected = reference("TNK-09")
    heights, volumes = zip(*inputs["table"], strict=True)
    table = Strapping(heights, volumes)
    assert table.volume_at(inputs["query_level_m"]) == near("TNK-09", expected["interpolated_m3"])
    for case in expected["level_for_volume"]:
        assert table.height_at(case["volume_m3"]) == near("TNK-09", case["level_m"])


def test_strapping_table_was_taken_from_this_tank_tnk_09():
    inputs, expected = reference("TNK-09")
    shape = TankShape(
        "horizontal",
        diameter=inputs["D_m"],
        length=inputs["L_m"],
        bottom="ellipsoidal",
        bottom_depth=inputs["head_depth_m"],
    )
    assert volume_at(shape, inputs["query_level_m"]) == near("TNK-09", expected["exact_m3"])


# ---- referee: fluids ----
SIDES = {
    "flat": (None, None),
    "cone": ("conical", 0.5),
    "dished": ("torispherical", None),
    "ellipsoidal": ("ellipsoidal", 0.5),
    "hemispherical": ("spherical", 1.0),
}


@pytest.mark.parametrize("horizontal", [False, True])
@pytest.mark.parametrize("end", SIDES)
def test_every_end_agrees_with_fluids(end, horizontal):
    """fluids 1.3.1, fluids.geometry.TANK.

    Its own integration of lying dished heads is good to about 1e-10.
    """
    side, depth = SIDES[end]
    proportions = {"f": 1.0, "k": 0.06} if end == "dished" else {"a": depth}
    ends = {f"side{s}_{key}": value for s in "AB" for key, value in proportions.items() if side}
    other = TANK(D=2.0, L=3.0, horizontal=horizontal, sideA=side, sideB=side, **ends)
    shape = TankShape(
        "horizontal" if horizontal else "vertical",
        diameter=2.0,
        height=3.0,
        bottom=end,
        bottom_depth=depth,
        roof=end,
        roof_depth=depth,
    )
    assert inside_height(shape) == pytest.approx(other.h_max, rel=1e-12)
    assert capacity(shape) == pytest.approx(other.V_total, rel=1e-9)
    heights = np.linspace(0, other.h_max, 23)[1:-1]
    assert volume_at(shape, heights) == pytest.approx(
        [other.V_from_h(height) for height in heights], rel=1e-9
    )
