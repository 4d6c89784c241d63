"""A good call of every public function and method of both cores, by the names of its arguments."""

from __future__ import annotations

import datetime as dt

import numpy as np

from calibration.metrology import (
    backtest,
    bands,
    components,
    crossing,
    decision,
    doubt,
    drift,
    due,
    errors,
    families,
    fit_checks,
    fleet_fit,
    forecast,
    histories,
    input_components,
    intervals,
    jumps,
    linearity,
    longest_interval,
    passing,
    reliability,
    shapes,
    shares,
    staircase,
    survival,
    two_levels,
    uncertainty,
    verdict,
    visit_results,
    wander,
)
from calibration.metrology.uncertainty import Component, Shape
from calibration.metrology.visit_results import Results
from plant.level import bounds, density, heads, hints, probes, signals, tanks, tolerance, units

RNG = np.random.default_rng(11)
RANGE = {"lower": 0.3, "upper": 8.3}
PROBE = probes.Probe(0.012, 2.0, 8.0, insulation=0.016)
TANK = tanks.TankShape("vertical", diameter=2.0, height=3.0, bottom="cone", bottom_depth=0.6)
RUN = {
    "applied_percent": [0.0, 50.0, 100.0, 50.0, 0.0],
    "errors": [0.1, 0.2, 0.15, 0.25, 0.1],
    "rising": [True, True, True, False, False],
}
FLEET = {"record": [0, 0, 0, 0, 0], **RUN, "records": 1}
READ = {
    "years": [[0.0, 0.0], [1.0, 1.1], [2.0, 2.1], [3.0, 3.2]],
    "as_found": [[0.0, 0.1], [0.1, 0.2], [0.2, 0.1], [0.25, 0.3]],
    "as_left": [[0.0, 0.1], [0.1, 0.0], [0.2, 0.1], [0.25, 0.3]],
    "adjusted": [[False, False], [False, True], [False, False], [False, False]],
    "u_reading": 0.05,
    "u_common": 0.02,
}
HISTORIES = histories.histories(**READ)
PRIOR = wander.default_prior(1.0)
OUTLOOK = wander.outlook(HISTORIES, PRIOR)
TESTS = 0.1 * RNG.normal(size=(shapes.POSITIONS, 2))
OWN_TESTS = shapes.own_tests(TESTS, [1.0, 2.0], [0, 1], 2)
SHAPES = shapes.shapes_of(OWN_TESTS, shapes.alone([1.0, 1.0]))
PASSING = passing.passing(OUTLOOK, OUTLOOK, SHAPES, tolerance=1.0, u=np.full((2, 2), 0.05))
AHEAD = {"of": OUTLOOK, "tolerance": 1.0, "u_next": 0.05}
SEEN = 0.5 + 2 * RNG.random(200)
RESULTS = Results.of(np.arange(200) // 4, np.zeros(200), SEEN, 4.0 * RNG.weibull(2.0, 200) < SEEN)
ALL_IN = Results.of(np.arange(30), np.zeros(30), np.ones(30), np.zeros(30, dtype=bool))
EXPONENTIAL = reliability.fit_exponential(RESULTS)
WEIBULL = reliability.fit_weibull(RESULTS)
LINE = two_levels.two_levels([2.0, 6.0], [7.0, 16.0], **RANGE)
PARTS = (Component("a", 1.0, Shape.RECTANGULAR), Component("b", [0.3, 0.4], dof=4))
BUDGET = uncertainty.combine(PARTS)
FAMILY = {"histories": HISTORIES, "family": [0, 0], "tolerance": 1.0}
DISPLACER = {"length": 1.0, "volume": 0.002, "density": 915.0}

CALLS = [
    # plant.level
    (bounds.heights_inside, {"heights": [0.1, 2.0], "lowest": 0.0, "highest": 3.0}),
    (bounds.volumes_inside, {"volumes": [0.1, 2.0], "lowest": 0.0, "highest": 3.0}),
    (density.density_shift, {"level": 6.0, **RANGE, "at_calibration": 915.0, "now": 897.0}),
    (heads.circle_segment, {"radius": 1.0, "depth": 0.4}),
    (hints.reading_hints, {"expected": [4.0, 12.0], "observed": [4.2, 12.4], "tolerance": 1.0}),
    (hints.noise_hints, {"readings": [12.0, 12.1, 12.0], "spread": 0.005}),
    (hints.stage_hints, {"simulated_error": 0.1, "wetted_error": 1.2, "tolerance": 1.0}),
    (probes.per_metre, {"probe": PROBE, "permittivity": 3.0}),
    (probes.capacitance_at, {"probe": PROBE, "level": 3.0, "permittivity": 3.0, "gas": 1.0}),
    (
        probes.permittivity_shift,
        {"probe": PROBE, "level": 3.0, "lower": 0.0, "upper": 8.0, "at_calibration": 3.0}
        | {"now": 3.1, "gas": 1.0},
    ),
    (
        probes.build_up_shift,
        {"probe": PROBE, "level": 3.0, "lower": 0.0, "upper": 8.0, "liquid": 3.0, "film": 0.1},
    ),
    (
        probes.coating_shift,
        {"probe": PROBE, "level": 3.0, "lower": 0.0, "upper": 8.0, "liquid": 3.0}
        | {"thickness": 0.001, "permittivity": 5.0},
    ),
    (probes.permittivity_at, {"known": 3.0, "at": 20.0, "celsius": 30.0, "per_kelvin": -0.004}),
    (signals.percent_at, {"value": 3.0, **RANGE}),
    (signals.signal_at, {"value": 3.0, **RANGE}),
    (signals.expected_at, {"value": 3.0, "observed": 12.0, **RANGE}),
    (signals.value_at, {"observed": 12.0, **RANGE}),
    (signals.fault_bands, {"currents": [3.7, 12.0]}),
    (signals.band_of, {"observed": 12.0, "signal": signals.FOUR_TO_TWENTY}),
    (signals.bands_of, {"observed": [12.0, 3.0], "signal": signals.ONE_TO_FIVE}),
    (tanks.volume_at, {"shape": TANK, "heights": [0.5, 2.0]}),
    (tanks.height_at, {"shape": TANK, "volumes": [0.5, 2.0]}),
    (
        tanks.TankShape,
        {"kind": "horizontal", "diameter": 2.0, "length": 5.0, "bottom": "dished"}
        | {"bottom_depth": 0.4, "knuckle": 0.06},
    ),
    (
        tolerance.equivalent_tolerance,
        {"value": 1.0, "unit": "mm", "span": 8.0, "signal": signals.FOUR_TO_TWENTY},
    ),
    (units.to_metres, {"value": 3.0, "unit": "ft"}),
    (units.from_metres, {"value": 3.0, "unit": "ft"}),
    (units.to_cubic_metres, {"value": 3.0, "unit": "L"}),
    (units.from_cubic_metres, {"value": 3.0, "unit": "L"}),
    # uncertainty and decisions
    (components.rectangle, {"name": "a", "half_width": 1.0}),
    (
        components.specification,
        {"name": "a", "reading": 20.0, "percent_of_reading": 0.02, "percent_of_range": 0.01}
        | {"range_value": 24.0, "absolute": 0.002, "digits": 2.0, "resolution": 0.001},
    ),
    (
        components.certificate,
        {"name": "a", "expanded": 0.1, "coverage_factor": 2.0, "dof": 40.0},
    ),
    (components.resolution, {"name": "a", "step": 0.001}),
    (components.repeatability_of, {"name": "a", "readings": [1.0, 1.1, 1.2]}),
    (components.known_repeatability, {"name": "a", "scatter": 0.1, "repeats": 3, "dof": 2.0}),
    (
        components.meter_temperature,
        {"reading": 20.0, "celsius": 33.0, "percent_per_kelvin": 0.002, "reference": 23.0}
        | {"room": 5.0},
    ),
    (components.resistor_error, {"reading": 20.0, "marked": 250.0, "true": 252.5}),
    (components.default_meter, {"reading": 20.0, "celsius": 33.0, "step": 0.001}),
    (input_components.simulated_output, {"step": 0.001}),
    (
        input_components.wetted_by_dip,
        {"level": 8.0, "cut": 1.0, "datum": 2.0, "surface": 2.0, "tape_kelvin": 5.0}
        | {"scatter": 1.0, "dips": 3},
    ),
    (
        input_components.wetted_by_gauge_glass,
        {"height": 8.0, "scale": 2.0, "meniscus": 2.0, "column_percent": 0.5},
    ),
    (
        input_components.probe_raised,
        {"span": 8.0, "mark": 3.0, "film": 5.0, "nozzle_percent": 0.5},
    ),
    (
        input_components.pressure_applied,
        {"level": 8.0, "density": 915.0, "range_kilopascals": 100.0, "port": 2.0}
        | {"density_width": 1.0, "gravity_width": 0.001},
    ),
    (input_components.millimetres_per_kilopascal, {"density": 915.0}),
    (
        input_components.target_at_distance,
        {"distance": 5.0, "tilt": 2.0, "face": 1.0, "air_kelvin": 1.0},
    ),
    (
        input_components.weights_on_hanger,
        {"level": 1.0, "mass": 0.7, **DISPLACER, "weights_share": 0.00016}
        | {"volume_percent": 0.3, "density_width": 1.0},
    ),
    (input_components.millimetres_per_kilogram, DISPLACER),
    (input_components.float_moved, {"scale": 1.0, "draft": 3.0, "pitch": 10.0}),
    (
        uncertainty.Component,
        {"name": "a", "value": 1.0, "divisor": 2.0, "sensitivity": 3.0, "dof": 5.0},
    ),
    (uncertainty.scaled, {"components": PARTS, "by": 2.0}),
    (uncertainty.combine, {"components": PARTS}),
    (uncertainty.coverage, {"budget": BUDGET, "probability": 0.95}),
    (uncertainty.student_factor, {"dof": 5.0, "probability": 0.95}),
    (two_levels.two_levels, {"levels": [2.0, 6.0], "outputs": [7.0, 16.0], **RANGE}),
    (two_levels.propagate, {"components": PARTS, "weights": [[0.5, 0.5], [1.2, -0.2]]}),
    (LINE.deviation_at, {"level": 4.0, "output": 12.0}),
    (LINE.after_adjusting, {"output": 12.0}),
    (decision.within_tolerance, {"errors": [0.1, 0.4], "tolerance": 0.3}),
    (decision.simple_acceptance, {"errors": [0.1, 0.4], "tolerance": 0.3}),
    (decision.worst, {"verdicts": ["pass", "fail"]}),
    (decision.uncertainty_ratio, {"tolerance": 1.0, "expanded": 0.1}),
    (decision.acceptance_limit, {"tolerance": 1.0, "guard": 0.1}),
    (decision.guarded_acceptance, {"errors": [0.1, 0.4], "tolerance": 0.3, "guard": 0.1}),
    (
        decision.conformance_probability,
        {"values": 0.4, "u": 0.1, "lower": -0.5, "upper": 0.5, "dof": 12.0},
    ),
    (
        decision.acceptance_by_risk,
        {"errors": [0.1, 0.4], "tolerance": 0.3, "u": 0.1, "risk": 0.02, "dof": 12.0},
    ),
    (decision.guard_for_risk, {"u": 0.1, "risk": 0.02}),
    (decision.family_errors, {"errors": [0.1, 0.2, 0.4], "u": 0.05}),
    (
        decision.global_risks,
        {"tolerance": 0.2, "u": 0.04, "spread": 0.12, "mean": 0.01, "guard": 0.04},
    ),
    # errors and figures
    (errors.percent_errors, {"observed": 12.1, "expected": 12.0, "signal_span": 16.0}),
    (errors.figures, {**RUN, "run": [1, 1, 1, 1, 1]}),
    (errors.figures_fleet, FLEET | {"run": [1, 1, 1, 1, 1]}),
    (errors.repeatability, RUN),
    (errors.repeatability_fleet, FLEET),
    (
        errors.dead_band,
        {"applied_percent": [50.0, 50.2, 50.1], "output_percent": [50.0, 50.2, 50.1]}
        | {"moved": 0.05},
    ),
    (linearity.linearity, {"applied_percent": [0.0, 50.0, 100.0], "errors": [0.1, 0.2, 0.1]}),
    (linearity.mean_curve, RUN),
    (linearity.mean_curves, FLEET),
    (linearity.full_figures, {**RUN, "run": [1, 1, 1, 1, 1]}),
    # drift
    (drift.through_origin, {"x": [1.0, 2.0, 1.0], "y": [0.1, 0.2, 0.1]}),
    (drift.through_origin([1.0, 2.0], [0.1, 0.3]).slope_interval, {"confidence": 0.95}),
    (histories.histories, READ),
    (
        histories.gather,
        {"group": [1, 1, 2, 2], "years": [0.0, 1.0, 0.0, 1.0], "as_found": [0.1, 0.2, 0.1, 0.3]}
        | {"as_left": [0.1, 0.2, 0.1, 0.3], "adjusted": False, "u_reading": 0.05}
        | {"u_common": 0.01},
    ),
    (wander.default_prior, {"tolerance": 1.0, "changing": 0.1}),
    (wander.checked_tolerance, {"tolerance": [1.0, 2.0]}),
    (
        bands.mixture_band,
        {"weights": np.full((2, 1), 0.5), "means": np.array([[0.1], [0.2]])}
        | {"variances": np.array([[0.01], [0.02]]), "confidence": 0.95},
    ),
    (OUTLOOK.parts, {"ahead": 1.0}),
    (OUTLOOK.next_as_found, {"ahead": 1.0, "u_next": 0.05, "confidence": 0.95}),
    (OUTLOOK.rate, {"confidence": 0.95}),
    (OUTLOOK.probability_in, {"ahead": 1.0, "tolerance": 1.0, "u_next": 0.05}),
    (families.fit_families, FAMILY | {"iterations": 2}),
    (jumps.fit_without_jumps, FAMILY),
    (fleet_fit.fit_fleet, FAMILY),
    (fleet_fit.widening, {"held": [9.0, 40.0], "made": [10.0, 40.0]}),
    (backtest.robust_lines, {"years": READ["years"], "values": READ["as_found"]}),
    (crossing.probability_ever_out, {"of": OUTLOOK, "ahead": 1.0, "tolerance": 1.0}),
    (crossing.crossings, AHEAD | {"confidence": 0.95}),
    (OUTLOOK.moments.read_with, {"u_next": 0.05}),
    (forecast.forecast, AHEAD),
    (
        intervals.propose,
        AHEAD | {"current": 1.0, "target": 0.95, "lower": 0.25, "upper": 5.0, "lengthen": 2.0},
    ),
    (intervals.as_found_probability, AHEAD | {"ahead": 1.0}),
    (doubt.first_below, AHEAD | {"floor": 0.8}),
    (longest_interval.longest, AHEAD | {"target": 0.95, "lower": 0.25, "upper": 5.0}),
    # the verdict of the next as found
    (
        shapes.shape_of,
        {"percent": [0.0, 50.0, 100.0], "errors": [0.1, 0.3, 0.2], "rising": [True, True, True]}
        | {"zero": 0.1, "span": 0.2},
    ),
    (shapes.alone, {"tolerance": [1.0, 0.5]}),
    (
        shapes.own_tests,
        {"shapes": TESTS, "tests": [1.0, 2.0], "owner": np.array([0, 1]), "n": 2},
    ),
    (
        shapes.fit_shapes,
        {"of": OWN_TESTS, "family": np.array([0, 0]), "tolerance": [1.0]},
    ),
    (
        verdict.probability_of_pass,
        {"at": [0.0, 1.0], "means": [[0.1], [0.2]], "variances": [[0.04], [0.09]]}
        | {"shape": [[0.0], [0.1]], "reading_variance": [[0.01], [0.01]]}
        | {"limits": [[0.5], [0.5]]},
    ),
    (
        passing.passing,
        {"zero": OUTLOOK, "span": OUTLOOK, "shapes": SHAPES, "tolerance": [1.0, 1.0]}
        | {"u": [[0.05, 0.05], [0.05, 0.05]], "guard": 0.5, "risk": 0.0, "gone": 0.0},
    ),
    (PASSING.chance, {"years": 1.0}),
    (PASSING.first_below, {"chance": 0.9, "lower": 0.25, "upper": 5.0}),
    # due dates and reliability
    (due.add_months, {"day": dt.date(2026, 1, 31), "months": 12}),
    (due.next_due, {"done_on": dt.date(2026, 1, 31), "interval_months": 12, "grace_days": 3}),
    (staircase.staircase, {"current": 12.0, "in_tolerance": True, "longer": 0.1, "shorter": 0.5}),
    (staircase.staircase_target, {"longer": 0.1, "shorter": 0.55}),
    (shares.binomial_limits, {"k": 3.0, "n": 20.0, "confidence": 0.95, "effect": 1.2}),
    (
        visit_results.times_since_renewal,
        {"instrument": [1, 1, 1], "years": [0.0, 1.0, 2.0], "in_tolerance": [True, True, False]}
        | {"renewed": [True, False, False]},
    ),
    (
        Results.of,
        {"instrument": [0, 0], "start": [0.0, 1.0], "end": [1.0, 2.0], "out": [False, True]},
    ),
    (reliability.fit_exponential, {"results": RESULTS, "confidence": 0.95}),
    (reliability.fit_weibull, {"results": RESULTS, "confidence": 0.95}),
    (reliability.rate_limit, {"results": RESULTS, "confidence": 0.95}),
    (reliability.rate_limit, {"results": ALL_IN, "confidence": 0.95}),
    (reliability.rate_limit(RESULTS).interval, {"target": 0.9}),
    (EXPONENTIAL.reliability, {"years": [1.0, 2.0]}),
    (WEIBULL.reliability, {"years": [1.0, 2.0]}),
    (WEIBULL.band, {"years": [1.0, 2.0]}),
    (WEIBULL.interval, {"target": 0.9}),
    (WEIBULL.interval_limits, {"target": 0.9}),
    (survival.coarsen, {"results": RESULTS, "grid": 0.25}),
    (
        fit_checks.homogeneity,
        {"results": RESULTS, "group": np.arange(200) % 2, "rng": np.random.default_rng(1)}
        | {"permutations": 9},
    ),
]
# What takes no number of its own, or only what another function has checked.
NO_NUMBERS = {
    "float_or_array",
    "failure_limit",
    "numbers",
    "not_below_zero",
    "above_zero",
    "share",
    "limits_size",
    "takes_numbers",
    "whole_numbers",
    "inside_height",
    "capacity",
    "outline",
    "backtest",
    "blocks",
    "map_blocks",
    "map_parallel",
    "concatenate",
    "diagnose",
    "eliminated",
    "laws",
    "weights_of_all_laws",
    "ever_beyond",
    "expected_out",
    "goodness_of_fit",
    "time_groups",
    "reasons",
    "shortened",
    "is_dated",
    "shapes_of",
    "by_neighbours",
    "both_above",
    "band_factor",
    "degrees_of_freedom",
    "columns_of",
    "moments",
    "by_rays",
    "pass_of",
    "flag_jumps",
    "residuals",
    "refuse",
    "estimate",
    "nonparametric_curve",
    "design_effect",
    "sums",
    "node_weights",
    "outlook",
}
