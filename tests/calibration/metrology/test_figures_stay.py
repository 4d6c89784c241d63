"""Figures of a small fleet, as they are: a change of any of them must be meant.

Whether they are right is shown elsewhere, by published values and simulated fleets. Those allow a
few per cent; a slip in a term that matters little would pass them.
"""

from __future__ import annotations

import numpy as np
import pytest

from calibration.metrology.crossing import crossings
from calibration.metrology.families import fit_families
from calibration.metrology.fit_checks import goodness_of_fit, homogeneity
from calibration.metrology.forecast import forecast
from calibration.metrology.intervals import propose
from calibration.metrology.jumps import fit_without_jumps, flag_jumps
from calibration.metrology.reliability import fit_exponential, fit_weibull
from calibration.metrology.visit_results import Results
from calibration.metrology.wander import default_prior, outlook
from tests.bench.truths import TRUTHS, simulate

EIGHT, VISITS, TOLERANCE, U = 8, 6, 0.5, 0.05
ONE_FAMILY = np.zeros(EIGHT, dtype=int)
# Sixteen instruments with four results each; every third of the longest intervals ended out.
MANY = 16
SEEN = Results.of(
    np.repeat(np.arange(MANY), 4),
    np.tile([0.0, 0.0, 1.0, 0.0], MANY),
    np.tile([1.0, 2.0, 2.5, 0.5], MANY),
    np.arange(4 * MANY) % 5 == 2,
)


def fleet():
    jump = np.zeros((VISITS, EIGHT))
    jump[3, 2] = 0.8
    rng = np.random.default_rng(8)
    return simulate(TRUTHS["walk"], EIGHT, VISITS, rng, jump=jump).first(VISITS)


def figures() -> dict[str, object]:
    """Every figure by its name, of the first three instruments where there is one for each."""
    histories = fleet()
    family = fit_families(histories, ONE_FAMILY, TOLERANCE)
    alone, member = (
        outlook(histories, prior) for prior in (default_prior(TOLERANCE), family.of(ONE_FAMILY))
    )
    calm = fit_without_jumps(histories, ONE_FAMILY, TOLERANCE).calm
    jumps = flag_jumps(histories, calm.of(ONE_FAMILY))
    weibull, constant = fit_weibull(SEEN), fit_exponential(SEEN)
    groups = homogeneity(SEEN, np.arange(MANY) % 2, np.random.default_rng(1))
    band = member.next_as_found(1.0, U)
    met = crossings(member, TOLERANCE, U)
    ahead = forecast(member, TOLERANCE, U)
    offered = propose(member, TOLERANCE, U, current=1.0)
    return {
        "family rate": family.rate,
        "family spread": family.spread,
        "family mean sd": family.mean_sd,
        "family weights": family.weights[:4, 0],
        "alone rates": alone.rate().centre[:3],
        "alone evidence": alone.log_evidence[:3],
        "alone own weight": alone.own_weight[:3],
        "member rates": member.rate().centre[:3],
        "member rate sd": member.rate().sd[:3],
        "member own weight": member.own_weight[:3],
        "band lower": band.lower[:3],
        "band upper": band.upper[:3],
        "band kurtosis": band.kurtosis[:3],
        "probability in": member.probability_in(1.5, TOLERANCE, U)[:3],
        "line meets": met.line[:3],
        "band meets": met.band[:3],
        "out at": met.out[1, :3],
        "forecast low": ahead.low[:3],
        "forecast high": ahead.high[:3],
        "forecast meets": ahead.meets[:3],
        "years wanted": offered.wanted[:3],
        "found in at their end": offered.as_found[:3],
        "calm rate": calm.rate,
        "calm weights": calm.weights[:4, 0],
        "jump flags": np.argwhere(jumps.flags | jumps.hints).ravel(),
        "jump p": jumps.p_value[:3],
        "jump size": jumps.size[:3, 2],
        "constant rate": constant.rate,
        "constant limits": constant.rate_limits,
        "constant interval": constant.interval(0.9),
        "shape limits": weibull.shape_limits,
        "weibull reliability": weibull.reliability([0.5, 1.0, 2.0]),
        "weibull band": np.ravel(weibull.band([1.0])),
        "weibull interval limits": weibull.interval_limits(0.8),
        "groups p": groups.p_value,
        "fit p": goodness_of_fit(SEEN, constant).p_value,
    }


@pytest.fixture(scope="module")
def computed() -> dict[str, object]:
    return figures()


AS_THEY_ARE = {
    "family rate": [0.18992644],
    "family spread": [0.089414314],
    "family mean sd": [0.037038831],
    "family weights": [0.029519444, 0.031379955, 0.038199688, 0.064856548],
    "alone rates": [0.32569295, 0.23728083, 0.26526836],
    "alone evidence": [1.0823896, 2.4942071, -2.7740932],
    "alone own weight": [0.92362797, 0.96583155, 0.81948579],
    "member rates": [0.29926565, 0.23810326, 0.26438898],
    "member rate sd": [0.059941091, 0.044312965, 0.067109174],
    "member own weight": [0.69820688, 0.81648718, 0.55645917],
    "band lower": [0.093207079, -0.020175117, -0.21911139],
    "band upper": [0.72474965, 0.47983025, 0.73266305],
    "band kurtosis": [1.5858317, 1.2625829, 1.4548972],
    "probability in": [0.34911047, 0.86144938, 0.65088948],
    "line meets": [1.30415, 2.134686, 1.9199482],
    "band meets": [0.51206398, 1.0591587, 0.55556905],
    "out at": [1.2671275, 2.1178569, 1.8707025],
    "forecast low": [0.1798405, 0.14961811, 0.13170602],
    "forecast high": [0.41869079, 0.32658842, 0.39707194],
    "forecast meets": [0.51207465, 1.0591972, 0.55556913],
    "years wanted": [0.64028753, 1.2185417, 0.69718874],
    "found in at their end": [0.95, 0.95, 0.95],
    "calm rate": [0.17824419],
    "calm weights": [0.036193509, 0.038500905, 0.047203533, 0.083414834],
    "jump flags": [2.0, 2.0],
    "jump p": [4.0, 5.0, 0.0049208813],
    "jump size": [-0.18299849, 0.12123379, 0.73157896],
    "constant rate": [0.18213675],
    "constant limits": [0.10007654, 0.30035189],
    "constant interval": [0.57846927],
    "shape limits": [0.2625774, 1.4343664],
    "weibull reliability": [0.8765815, 0.80505765, 0.69980358],
    "weibull band": [0.678922, 0.9000095],
    "weibull interval limits": [0.23501933, 2.4863817],
    "groups p": [0.866],
    "fit p": [0.21769061],
}


@pytest.mark.parametrize("name", AS_THEY_ARE)
def test_the_figures_of_a_small_fleet_stay_as_they_are(name, computed):
    assert np.ravel(computed[name]) == pytest.approx(AS_THEY_ARE[name], rel=1e-6)


def test_every_figure_is_compared(computed):
    assert list(computed) == list(AS_THEY_ARE)
