import math

import numpy as np
import pytest

from calibration.metrology.components import (
    certificate,
    default_meter,
    known_repeatability,
    meter_temperature,
    repeatability_of,
    resistor_error,
    resolution,
    specification,
)
from calibration.metrology.input_components import (
    float_moved,
    pressure_applied,
    probe_raised,
    simulated_output,
    target_at_distance,
    weights_on_hanger,
    wetted_by_dip,
    wetted_by_gauge_glass,
)
from calibration.metrology.two_levels import propagate, two_levels
from calibration.metrology.uncertainty import Component, Shape, combine, coverage, scaled
from plant.level.signals import ZeroSpan


def parts(components):
    return {c.name: c.contribution for c in components}


def test_specification_adds_its_parts_before_it_is_divided():
    shown = specification(
        "meter",
        12.0,
        percent_of_reading=0.05,
        percent_of_range=0.01,
        range_value=24.0,
        absolute=0.001,
        digits=2,
        resolution=0.001,
    )
    assert shown.value == pytest.approx(0.006 + 0.0024 + 0.001 + 0.002)
    assert shown.u == pytest.approx(shown.value / math.sqrt(3))


def test_specification_of_a_negative_reading_is_of_its_size():
    assert specification("meter", -5.0, percent_of_reading=1).value == pytest.approx(0.05)


def test_certificate_is_divided_by_its_k():
    assert certificate("MM-04", 0.004, 2.0).u == 0.002


def test_repeats_of_many_points_are_one_component():
    readings = np.array([[4.000, 4.002, 4.004], [12.0, 12.0, 12.0]])
    shown = repeatability_of("meter", readings)
    assert shown.u.tolist() == pytest.approx([0.002 / math.sqrt(3), 0.0])
    assert shown.dof == 2
    assert shown.shape is Shape.TYPE_A


def test_scatter_known_from_before_is_divided_by_the_root_of_repeats():
    shown = known_repeatability("meter", 0.006, repeats=9, dof=20)
    assert (shown.u, shown.dof) == (0.002, 20)


def test_meter_adds_nothing_inside_its_temperature_room():
    assert meter_temperature(20.0, [18.0, 28.0]).value.tolist() == [0.0, 0.0]
    assert meter_temperature(20.0, [8.0, 38.0]).value.tolist() == pytest.approx([0.004, 0.004])


def test_a_resistor_taken_for_another_shows_a_current_that_is_not():
    """20 mA over 250.25 ohm, taken for 250 ohm, is read as 20.020 mA; over 249.75 as 19.980."""
    assert resistor_error(20.02, marked=250.0, true=250.25) == pytest.approx(0.020)
    assert resistor_error(19.98, marked=250.0, true=249.75) == pytest.approx(-0.020)


def test_dip_at_nine_metres_by_hand():
    shown = parts(wetted_by_dip(9.0))
    assert shown == pytest.approx(
        {
            "dip tape": (0.3 + 0.2 * 9 + 0.2) / math.sqrt(3),
            "reading the cut": 1 / math.sqrt(6),
            "datum plate and bottom": 2 / math.sqrt(3),
            "surface motion and time offset": 2 / math.sqrt(3),
            "tape temperature": 0.5175 / math.sqrt(3),
            "dips": 1 / math.sqrt(3),
        }
    )


def test_tape_counts_whole_metres_rounded_up():
    tape = [parts(wetted_by_dip(x))["dip tape"] * math.sqrt(3) for x in (2.0, 2.001)]
    assert tape == pytest.approx([0.9, 1.1])
    better = parts(wetted_by_dip(2.001, tape_class=1))["dip tape"] * math.sqrt(3)
    assert better == pytest.approx(0.6)


def test_what_is_known_of_a_dip_takes_the_place_of_the_default():
    tape = (certificate("DT-02", 0.8, 2.0),)
    shown = parts(wetted_by_dip(9.0, tape=tape, readings=[9000.0, 9001.0, 9002.0, 9001.0]))
    assert shown["DT-02"] == 0.4
    assert "dip tape" not in shown
    assert shown["dips"] == pytest.approx(math.sqrt(2 / 3) / 2)


def test_the_other_ways_have_the_half_widths_of_their_defaults():
    root = math.sqrt(3)
    assert parts(simulated_output()) == pytest.approx({"output step": 0.001 / root})
    glass = parts(wetted_by_gauge_glass(4.0))
    assert glass["density of the column"] == pytest.approx(20 / root)
    raised = parts(probe_raised(8.0, film=20.0))
    assert raised["geometry at the nozzle"] == pytest.approx(40 / root)
    assert raised["clinging film"] == pytest.approx(20 / root)
    target = parts(target_at_distance(5.0, air_kelvin=1.0))
    assert target["tape or laser"] == 1.0
    assert target["air temperature"] == pytest.approx(8.5 / root)
    assert "air temperature" not in parts(target_at_distance(5.0))
    assert parts(float_moved(pitch=10.0))["step of the reed chain"] == pytest.approx(5 / root)
    assert len(float_moved()) == 2


def test_pressure_is_in_millimetres_of_the_product():
    shown = parts(pressure_applied(8.0, density=915.0, range_kilopascals=100.0))
    kilopascals = 915 * 9.80665 * 8 / 1000
    width = 0.0002 * kilopascals + 0.01
    assert shown["pressure calibrator"] == pytest.approx(
        width * 1e6 / (915 * 9.80665) / math.sqrt(3)
    )
    assert shown["density"] == pytest.approx(8000 / 915 / math.sqrt(3))
    assert shown["gravity"] == pytest.approx(8 / 9.80665 / math.sqrt(3))


def test_weights_are_in_millimetres_of_the_product():
    displacer = {"length": 1.0, "volume": 0.001963495, "density": 915.0}
    shown = parts(weights_on_hanger(1.0, mass=0.7034, **displacer))
    # The whole metre takes 1.7966 kg off: 0.016 % of 0.7034 kg is 0.0626 mm.
    assert shown["weights"] * math.sqrt(3) == pytest.approx(0.00016 * 0.7034 / 1.796598 * 1000)
    assert shown["displacer volume"] * math.sqrt(3) == pytest.approx(3.0)
    assert shown["density"] * math.sqrt(3) == pytest.approx(1000 / 915)


@pytest.mark.parametrize(
    "components",
    [
        simulated_output(),
        wetted_by_dip(2.0),
        wetted_by_gauge_glass(2.0),
        probe_raised(8.0),
        pressure_applied(2.0, density=998.0),
        target_at_distance(2.0),
        weights_on_hanger(0.5, mass=1, length=1, volume=0.002, density=998),
        float_moved(),
    ],
    ids=lambda components: components[0].name,
)
def test_every_way_of_applying_an_input_brings_uncertainty(components):
    assert combine(components).u > 0


def test_budget_of_a_whole_test_serves_all_points_at_once():
    level, current = np.linspace(0, 8, 9), np.linspace(4, 20, 9)
    whole = combine([*scaled(wetted_by_dip(level), 16 / 8000), *default_meter(current)])
    one = combine([*scaled(wetted_by_dip(8.0), 16 / 8000), *default_meter(20.0)])
    assert whole.u.shape == (9,)
    assert whole.u[-1] == pytest.approx(one.u, rel=1e-12)
    assert coverage(whole).expanded[-1] == pytest.approx(coverage(one).expanded, rel=1e-12)


def test_tape_datum_and_temperature_are_shared_by_all_readings_of_a_dip():
    assert {c.name for c in wetted_by_dip(2.0) if c.shared} == {
        "dip tape",
        "datum plate and bottom",
        "tape temperature",
    }


LEVELS = {"lower": 0.3, "upper": 8.3}


LINE = (
    Component("offset", 0.01, shared=True),
    Component("scale", 0.002, sensitivity=np.array([2.0, 6.0]), shared=True),
    Component("own", 0.005),
)


def test_shared_components_of_two_levels_enter_once_and_grow_with_the_level():
    seen = two_levels([2.0, 6.0], [7.0, 16.0], **LEVELS)
    first, second = weights = seen.weights_at(8.3)
    offset, scale, own = (float(c.contribution[0]) for c in propagate(LINE, [weights]))
    assert offset == pytest.approx(0.01)
    assert scale == pytest.approx(0.002 * 8.3)
    assert own == pytest.approx(0.005 * math.hypot(first, second))


def test_what_is_read_itself_keeps_its_components():
    for kept, component in zip(propagate(LINE, np.eye(2)), LINE, strict=True):
        assert kept.contribution == pytest.approx(np.broadcast_to(component.contribution, 2))
        assert kept.value == pytest.approx(np.broadcast_to(component.value, 2))
        assert (kept.name, kept.shape, kept.shared) == (
            component.name,
            component.shape,
            component.shared,
        )


def test_draws_agree_on_two_levels_with_shared_and_own_errors():
    """Referee: the line drawn anew 200,000 times."""
    rng = np.random.default_rng(9)
    n, levels = 200_000, np.array([2.0, 6.0])
    offset, scale = rng.normal(0, 0.01, (n, 1)), rng.normal(0, 0.002, (n, 1))
    outputs = 4 + 2 * (levels - 0.3) + offset + scale * levels + rng.normal(0, 0.005, (n, 2))
    drawn = two_levels(np.broadcast_to(levels, (n, 2)), outputs, **LEVELS)
    seen = two_levels(levels, outputs[0], **LEVELS)
    weights = [seen.weights_at(level) for level in (0.3, 8.3)]
    u = combine(propagate(LINE, weights)).u
    assert u == pytest.approx([drawn.zero.std(), drawn.span_end.std()], rel=0.01)


@pytest.mark.parametrize(
    ("percents", "lifts", "judge", "adjust"),
    [
        ((10, 90), (1.13, 1.13), True, True),
        ((20, 70), (1.46, 1.71), True, True),
        ((30, 60), (2.24, 2.69), True, False),
        ((40, 60), (3.61, 3.61), False, False),
    ],
)
def test_levels_near_each_other_say_less_about_the_ends(percents, lifts, judge, adjust):
    levels = np.array(percents) / 100
    seen = two_levels(levels, 4 + 16 * levels, lower=0.0, upper=1.0)
    assert (seen.gain_at_zero, seen.gain_at_span_end) == pytest.approx(lifts, abs=0.006)
    assert (seen.may_judge, seen.may_adjust_slope) == (judge, adjust)


def test_reverse_action_turns_the_ends():
    seen = two_levels([2.0, 6.0], [16.0, 8.0], lower=8.0, upper=0.0)
    assert (seen.zero, seen.span_end) == pytest.approx((4.0, 20.0))
    assert seen.slope == -2.0


def test_setting_the_computed_output_brings_both_ends_right():
    seen = two_levels([2.150, 6.480], [7.742, 16.480], **LEVELS)
    new = seen.after_adjusting(np.array([7.742, 16.480]))
    assert new == pytest.approx(4 + 16 * (np.array([2.150, 6.480]) - 0.3) / 8)


def test_a_fleet_of_pairs_is_one_call():
    fleet = two_levels(
        [[2.150, 6.480], [0.1, 0.9]],
        [[7.742, 16.480], [5.6, 18.4]],
        lower=[0.3, 0.0],
        upper=[8.3, 1.0],
    )
    assert fleet.zero == pytest.approx([4.008674, 4.0])
    assert fleet.may_judge.tolist() == [True, True]


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: specification("meter", 20.0), "no limit"),
        (lambda: specification("meter", 20.0, absolute=-1), "specification of “meter”"),
        (lambda: certificate("meter", 0.1, 0), "coverage factor of “meter”"),
        (lambda: certificate("meter", -0.1, 2), "value of “meter”"),
        (lambda: resolution("meter", -0.001), "value of “meter”"),
        (lambda: repeatability_of("meter", [4.0]), "at least two"),
        (lambda: repeatability_of("meter", [4.0, math.nan]), "readings of “meter”"),
        (lambda: known_repeatability("meter", 0.1, repeats=0, dof=5), "repeats"),
        (lambda: wetted_by_dip(-1.0), "level"),
        (lambda: wetted_by_dip(1.0, tape_class=3), "tape_class"),
        (lambda: wetted_by_dip(1.0, dips=0), "repeats"),
        (lambda: pressure_applied(1.0, density=0.0), "density"),
        (lambda: weights_on_hanger(1, mass=1, length=0, volume=1, density=1), "length, volume"),
        (lambda: two_levels([1.0, 1.0], [5, 6], **LEVELS), "levels: the two are equal"),
        (lambda: two_levels([1.0], [5.0], **LEVELS), "levels: two values"),
        (lambda: two_levels([1.0, 2.0], [5, math.nan], **LEVELS), "outputs: not a number"),
    ],
)
def test_what_no_component_can_be_made_of_is_refused_by_name(call, named):
    with pytest.raises(ValueError, match=named):
        call()


def test_range_without_span_is_refused():
    with pytest.raises(ZeroSpan):
        two_levels([1.0, 2.0], [5.0, 6.0], lower=1.0, upper=1.0)


def test_weights_that_are_no_table_are_refused():
    for weights in ([0.5, 0.5], [[0.5, math.nan]]):
        with pytest.raises(ValueError, match="weights: a table"):
            propagate(LINE, weights)
