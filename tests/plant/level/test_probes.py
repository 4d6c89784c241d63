import math

import numpy as np
import pytest

from plant.level.probes import (
    CONDUCTING,
    Probe,
    build_up_shift,
    capacitance_at,
    coating_shift,
    per_metre,
    permittivity_at,
    permittivity_shift,
)
from plant.level.signals import SIGNALS, ZeroSpan

BARE = Probe(conductor=0.016, wall=2.0, length=8.0)
COVERED = Probe(conductor=0.012, wall=2.0, length=8.0, insulation=0.016)
RANGE = {"lower": 0.0, "upper": 8.0}


def coaxial(inner, outer, permittivity=1.0):
    """pF per metre of a bare rod on the axis of a tank."""
    return per_metre(Probe(inner, outer, 8.0), permittivity)


def eccentric(inner, outer, offset):
    """pF per metre of a bare rod off the axis, in air."""
    return per_metre(Probe(inner, outer, 8.0, offset=offset), 1.0)


def test_rod_off_the_axis_has_more_and_stays_linear():
    on_axis, off_axis = coaxial(0.016, 2.0), eccentric(0.016, 2.0, 0.9)
    assert off_axis > on_axis
    probe = Probe(0.016, 2.0, 8.0, offset=0.9)
    rises = np.diff(capacitance_at(probe, np.linspace(0, 8, 9), 3.0))
    assert rises == pytest.approx([rises[0]] * 8)


def laplace_by_images(rod, wall, offset):
    """pF per metre from the two line charges whose equipotentials are both circles: the referee."""
    r, big = rod / 2, wall / 2
    # Circles of radii r and R, centres e apart: half-distance a of the line charges.
    to_rod = (big**2 - r**2 - offset**2) / (2 * offset)
    a = math.sqrt(to_rod**2 - r**2)
    to_wall = to_rod + offset
    gap = math.asinh(a / r) - math.asinh(a / big)
    assert to_wall**2 - big**2 == pytest.approx(a**2)
    return 55.63250276 / gap


@pytest.mark.parametrize("offset", [0.05, 0.5, 0.95])
def test_line_charges_agree_off_the_axis(offset):
    assert eccentric(0.016, 2.0, offset) == pytest.approx(laplace_by_images(0.016, 2.0, offset))


def test_rod_a_hair_off_the_axis_is_as_on_it():
    assert eccentric(0.016, 2.0, 1e-7) == pytest.approx(eccentric(0.016, 2.0, 0.0), rel=1e-9)


def test_conducting_liquid_leaves_only_the_insulation():
    assert per_metre(COVERED, CONDUCTING) == pytest.approx(coaxial(0.012, 0.016, 2.1))
    nearly = per_metre(COVERED, 1e9)
    assert nearly == pytest.approx(per_metre(COVERED, CONDUCTING), rel=1e-6)


def test_layers_of_an_insulated_probe_stand_in_series():
    cover, liquid = coaxial(0.012, 0.016, 2.1), coaxial(0.016, 2.0, 3.0)
    assert per_metre(COVERED, 3.0) == pytest.approx(1 / (1 / cover + 1 / liquid))


def test_below_the_tip_the_probe_is_dry():
    probe = Probe(0.016, 2.0, 6.0, tip=1.0)
    dry = capacitance_at(probe, 1.0, 3.0)
    assert capacitance_at(probe, [0.0, 0.5], 3.0).tolist() == [dry, dry]
    assert capacitance_at(probe, 7.0, 3.0) == pytest.approx(3 * dry)


def test_product_does_not_matter_where_it_conducts():
    shift = permittivity_shift(COVERED, 6.0, at_calibration=CONDUCTING, now=1e12, **RANGE)
    assert shift.error == pytest.approx(0.0, abs=1e-6)


def test_insulated_probe_shifts_a_little_less_than_a_bare_one():
    change = {"at_calibration": 3.05, "now": 3.15, **RANGE}
    bare = permittivity_shift(BARE, 6.4, **change).error
    covered = permittivity_shift(COVERED, 6.4, **change).error
    assert 0.5 * bare < covered < bare


def test_probe_that_starts_above_lrv_reads_flat_below_its_tip():
    probe = Probe(0.016, 2.0, 7.0, tip=1.0)
    shift = permittivity_shift(probe, [0.0, 1.0, 8.0], at_calibration=3.0, now=3.0, **RANGE)
    assert shift.indicated == pytest.approx([0.0, 0.0, 100.0])
    assert shift.error == pytest.approx([0.0, -12.5, 0.0])


def test_reverse_action_turns_the_sign_of_the_shift():
    change = {"at_calibration": 3.0, "now": 3.1}
    direct = permittivity_shift(BARE, 6.4, lower=0.0, upper=8.0, **change)
    reverse = permittivity_shift(BARE, 6.4, lower=8.0, upper=0.0, **change)
    assert direct.error == pytest.approx(4.0)
    assert reverse.error == pytest.approx(-4.0)
    assert reverse.output_error == pytest.approx(-0.64)


def test_shift_has_the_unit_of_the_signal():
    shift = permittivity_shift(
        BARE, 6.4, at_calibration=3.0, now=3.1, signal=SIGNALS["0-10V"], **RANGE
    )
    assert shift.output_error == pytest.approx(0.4)


def test_a_fleet_of_levels_and_products_is_one_call():
    shift = permittivity_shift(
        BARE, np.array([2.0, 4.0, 8.0]), at_calibration=np.array([3.0, 2.9, 2.6]), now=3.0, **RANGE
    )
    assert shift.indicated == pytest.approx([25.0, 50 * 2 / 1.9, 100 * 2 / 1.6])


def test_conducting_film_reads_as_level():
    shift = build_up_shift(COVERED, 4.0, liquid=CONDUCTING, film=0.8, **RANGE)
    assert shift.error == pytest.approx(10.0)
    assert build_up_shift(COVERED, 4.0, liquid=CONDUCTING, film=0.0, **RANGE).error == 0


def test_film_never_reaches_above_the_probe():
    shift = build_up_shift(COVERED, 7.9, liquid=CONDUCTING, film=5.0, **RANGE)
    assert shift.indicated == pytest.approx(100.0)


def test_film_starts_at_the_tip_of_a_dry_probe():
    probe = Probe(0.012, 2.0, 6.0, tip=2.0, insulation=0.016)
    shift = build_up_shift(probe, 0.0, lower=2.0, upper=8.0, liquid=CONDUCTING, film=0.6)
    assert shift.indicated == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: Probe(0.0, 1.0, 8.0), "diameters"),
        (lambda: Probe(1.0, 1.0, 8.0), "diameters"),
        (lambda: Probe(0.1, math.nan, 8.0), "diameters"),
        (lambda: per_metre(BARE, 0.9), "permittivity"),
        (lambda: per_metre(BARE, math.nan), "permittivity"),
        (lambda: Probe(0.1, 1.0, 8.0, offset=0.45), "offset"),
        (lambda: Probe(0.016, 2.0, 0.0), "length"),
        (lambda: Probe(0.016, 2.0, 8.0, tip=math.nan), "tip"),
        (lambda: Probe(0.016, 2.0, 8.0, insulation=0.012), "diameters"),
        (lambda: Probe(0.016, 2.0, 8.0, offset=1.0), "offset"),
        (lambda: per_metre(BARE, CONDUCTING), "short circuit"),
        (lambda: capacitance_at(BARE, 8.1, 3.0), "above the probe"),
        (lambda: capacitance_at(BARE, math.nan, 3.0), "level"),
        (
            lambda: permittivity_shift(BARE, 1.0, at_calibration=1.0, now=3.0, **RANGE),
            "at_calibration",
        ),
        (lambda: build_up_shift(BARE, 1.0, liquid=3.0, film=0.1, **RANGE), "bare probe"),
        (lambda: build_up_shift(COVERED, 1.0, liquid=3.0, film=-1, **RANGE), "film"),
        (lambda: permittivity_at(1.05, at=20, celsius=60), "under 1"),
    ],
)
def test_what_cannot_be_built_is_refused_by_name(call, named):
    with pytest.raises(ValueError, match=named):
        call()


def test_range_without_span_is_refused():
    with pytest.raises(ZeroSpan):
        permittivity_shift(BARE, 1.0, lower=2.0, upper=2.0, at_calibration=3.0, now=3.1)


def integrated(layers):
    """pF per metre, the field between the plates added up shell by shell: the referee of layers."""
    drop = 0.0
    for inner, outer, eps in layers:
        r = np.linspace(inner / 2, outer / 2, 200_001)
        drop += np.trapezoid(1 / (eps * r), r)
    return 55.63250276 / drop


@pytest.mark.parametrize("probe", [BARE, COVERED], ids=["bare", "covered"])
def test_a_crust_is_one_layer_more(probe):
    cover = [] if probe.insulation is None else [(0.012, 0.016, 2.1)]
    crust = [*cover, (0.016, 0.018, 2.5)]
    clean = [integrated([*cover, (0.016, 2.0, eps)]) for eps in (1.0, 3.0)]
    coated = [integrated([*crust, (0.018, 2.0, eps)]) for eps in (1.0, 3.0)]
    seen = 6 * coated[1] + 2 * coated[0]
    indicated = 100 * (seen - 8 * clean[0]) / (8 * (clean[1] - clean[0]))
    shift = coating_shift(probe, 6.0, liquid=3.0, thickness=0.001, permittivity=2.5, **RANGE)
    assert shift.indicated == pytest.approx(indicated, rel=1e-6)


def test_a_crust_of_the_liquids_own_permittivity_lifts_only_what_stands_dry():
    full = coating_shift(BARE, 8.0, liquid=3.0, thickness=0.002, permittivity=3.0, **RANGE)
    assert full.error == pytest.approx(0.0, abs=1e-9)
    half = coating_shift(BARE, 4.0, liquid=3.0, thickness=0.002, permittivity=3.0, **RANGE)
    assert half.error > 0


def test_no_crust_is_no_error_and_a_crust_to_the_wall_is_refused():
    none = coating_shift(COVERED, 5.0, liquid=CONDUCTING, thickness=0.0, permittivity=2.5, **RANGE)
    assert none.error == pytest.approx(0.0, abs=1e-9)
    for thickness, said in ((-0.001, "thickness"), (1.0, "diameters")):
        with pytest.raises(ValueError, match=said):
            coating_shift(BARE, 5.0, liquid=3.0, thickness=thickness, permittivity=2.5, **RANGE)
