"""Output stage and primary element: bands on simulated fleets whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.metrology import stages
from calibration.metrology.wander import default_prior
from tests.calibration.metrology.stage_fleet import TOLERANCE, Fleet, prior


def knowing(stage):
    return prior(stage[0], stage[1], stage[2])


MIXES = {
    "both each time": ("both",),
    "a third each": ("both", "wetted", "simulated"),
    "wetted only": ("wetted",),
    "seldom wetted": ("both", "wetted", *["simulated"] * 8),
}


# of the primary's rate after 10 visits, % of span a year: what more readings of a stage are worth
WIDTHS = {
    "both each time": 0.082,
    "a third each": 0.087,
    "wetted only": 0.132,
    "seldom wetted": 0.192,
}


@pytest.mark.parametrize("mix", MIXES)
def test_bands_of_both_stages_are_honest_where_their_laws_are_known(mix, monkeypatch):
    """Monte Carlo sd 0.34 points: the bounds stand 3 of them off."""
    monkeypatch.setattr(stages, "BLOCK", 4000)  # One pair of q takes little room.
    fleet = Fleet.simulated(4000, 10, MIXES[mix], seed=11)
    for n in (3, 4, 6, 10):
        share = fleet.covered(n, output=knowing(Fleet.OUTPUT), primary=knowing(Fleet.PRIMARY))
        width = share.pop("width")
        assert {name: x for name, x in share.items() if not 94 <= x <= 96} == {}, n
    assert width == pytest.approx(WIDTHS[mix], abs=0.002)


@pytest.mark.parametrize("mix", ["both each time", "seldom wetted"])
def test_bands_are_honest_where_walks_are_only_known_as_families(mix):
    """Each stage's walk is drawn from five; the band averages over all pairs of them.

    Monte Carlo sd 0.49 points.
    """
    walks = np.sqrt(default_prior(TOLERANCE).of_steady_rate.q[::2, 0])
    weights = [0.35, 0.35, 0.18, 0.08, 0.04]
    output, primary = (
        prior(*stage[:2], *walks, weights=weights) for stage in (Fleet.OUTPUT, Fleet.PRIMARY)
    )
    drawn = np.random.default_rng(13).choice(walks, (2, 2000), p=weights)
    fleet = Fleet.simulated(2000, 10, MIXES[mix], seed=12, walks=drawn)
    for n in (4, 10):
        share = fleet.covered(n, output=output, primary=primary)
        share.pop("width")
        assert {name: x for name, x in share.items() if not 93.5 <= x <= 96.5} == {}, n
