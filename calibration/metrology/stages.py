"""Drift of the output stage and of the primary element, separately.

A reading of the simulated output shows the first, a wetted one both. Each stage has an error that
wanders as in wander.py: o of the output stage, p of the primary element, each with its own rate
and walk. A simulated reading is o + e, a wetted one o + p + e. An output trim makes o anew, zero
or span set on the tank make p anew: nothing is known of the new one but its as left readings. A
filter takes the readings in order of time, exactly from levels of which nothing is known; it is
averaged over the values of q of both stages, weighed by their evidence, as wander.py does for one.

Visits run along the first axis, instruments along the last; one instrument is a fleet of one.
Errors are in % of span (all at zero, or all at span), time in years. No jump is foreseen.
Source: Kalman filter with exact initial levels, after Durbin and Koopman, Time Series Analysis by
State Space Methods (from memory); checked against dense normal algebra in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from calibration.metrology.bands import Band, mixture_band
from calibration.metrology.blocks import blocks, concatenate
from calibration.metrology.drift import CannotFit
from calibration.metrology.likelihood import node_weights
from calibration.metrology.stage_visits import Visits, refuse
from calibration.metrology.wander import Prior

# Places in the state that a reading sees. The state: o, p, their rates, the visit's common errors.
SIMULATED, WETTED = (0,), (0, 1)
COMMON = {SIMULATED: 4, WETTED: 5}
KNOWN = 1e-9  # a level's share of "nothing known" is a simple fraction or nothing; this is between
BLOCK = 256  # instruments whose working arrays stay small: 100 pairs of q make 30 kB each


# ---- the filter ----
class _Filter:
    """State of every pair of q (axis −2) and instrument (axis −1).

    The state's variance is ``known`` + κ ``free`` with κ beyond all bounds, so levels begin as
    unknown as can be. ``free`` is of o and p alone, and the same for all pairs of q.
    """

    def __init__(
        self, visits: Visits, q: tuple[np.ndarray, np.ndarray], priors: tuple[Prior, Prior]
    ):
        shape = (q[0].shape[0], len(visits))
        self.visits, self.q = visits, q
        shares = (visits.common_simulated, visits.common_wetted, visits.u_meter)
        self.size = 6 if any((share > 0).any() for share in shares) else 4
        self.mean = np.zeros((self.size, *shape))
        self.known = np.zeros((self.size, self.size, *shape))
        self.free = np.zeros((2, 2, len(visits)))
        self.free[0, 0] = self.free[1, 1] = 1.0
        for place, prior in enumerate(priors, 2):
            self.mean[place] = prior.rate
            self.known[place, place] = prior.variance
        self.log_evidence = np.zeros(shape)
        self.compared = {SIMULATED: np.zeros(len(visits), int), WETTED: np.zeros(len(visits), int)}

    def run(self) -> None:
        years = self.visits.years
        for k in range(len(years)):
            if k:
                self._wait(np.nan_to_num(years[k] - years[k - 1]))
            self._begin_visit(k)
            for kind, name in ((SIMULATED, "simulated"), (WETTED, "wetted")):
                self._read(k, kind, name, getattr(self.visits, name)[k], is_found=True)
            self._adjust(k)

    def _wait(self, years: np.ndarray) -> None:
        for level in (0, 1):
            self.mean[level] += years * self.mean[level + 2]
            self.known[level] += years * self.known[level + 2]
        for level in (0, 1):
            self.known[:, level] += years * self.known[:, level + 2]
            self.known[level, level] += self.q[level] * years

    def _begin_visit(self, k: int) -> None:
        if self.size == 4:
            return
        self.mean[4:] = 0
        self.known[4:] = 0
        self.known[:, 4:] = 0
        meter = self.visits.u_meter[k] ** 2
        self.known[4, 4] = np.maximum(self.visits.common_simulated[k] ** 2, meter)
        self.known[5, 5] = np.maximum(self.visits.common_wetted[k] ** 2, meter)
        self.known[4, 5] = self.known[5, 4] = meter

    def _adjust(self, k: int) -> None:
        visits = self.visits
        trimmed, adjusted = visits.trimmed[k], visits.adjusted[k]
        for level, anew in ((0, trimmed), (1, adjusted)):
            if not anew.any():
                continue
            self.mean[level][:, anew] = 0
            self.known[level][..., anew] = 0
            self.known[:, level][..., anew] = 0
            self.free[level][..., anew] = 0
            self.free[:, level][..., anew] = 0
            self.free[level, level, anew] = 1
        left = np.where(trimmed, visits.simulated_left[k], np.nan)
        self._read(k, SIMULATED, "simulated", left, is_found=False)
        left = np.where(trimmed | adjusted, visits.wetted_left[k], np.nan)
        self._read(k, WETTED, "wetted", left, is_found=False)

    def _read(
        self, k: int, kind: tuple[int, ...], name: str, reading: np.ndarray, *, is_found: bool
    ) -> None:
        read = ~np.isnan(reading) & ~np.isnan(self.visits.years[k])
        if not read.any():
            return
        common = np.maximum(getattr(self.visits, f"common_{name}")[k], self.visits.u_meter[k])
        own = getattr(self.visits, f"u_{name}")[k] ** 2 - common**2
        free = _added(_added(self.free, kind), kind)
        fresh = read & (free > KNOWN)
        places = kind if self.size == 4 else (*kind, COMMON[kind])
        if fresh.any():
            self._begin(np.flatnonzero(fresh), kind, places, reading, own)
        compared = read & ~fresh
        if compared.any():
            self._compare(compared, places, reading, own)
        if is_found:
            self.compared[kind] += compared

    def _begin(
        self,
        at: np.ndarray,
        kind: tuple[int, ...],
        places: tuple[int, ...],
        reading: np.ndarray,
        own: np.ndarray,
    ) -> None:
        """A first reading of what was wholly unknown sets the level."""
        free, known, mean = self.free[..., at], self.known[..., at], self.mean[..., at]
        pull = np.zeros((self.size, at.size))
        pull[:2] = _added(free, kind)
        spread = _added(pull, kind)
        towards = _added(known, places)
        variance = _added(towards, places) + own[at]
        off = reading[at] - _added(mean, places)
        share = (pull / spread)[:, None]
        cross = towards[:, None] * share[None]
        self.mean[..., at] = mean + share * off
        self.known[..., at] = (
            known + share[:, None] * share[None] * variance - cross - cross.swapaxes(0, 1)
        )
        self.free[..., at] = free - pull[:2, None] * pull[None, :2] / spread

    def _compare(
        self, which: np.ndarray, places: tuple[int, ...], reading: np.ndarray, own: np.ndarray
    ) -> None:
        towards = _added(self.known, places)
        variance = np.where(which, _added(towards, places) + own, 1.0)
        off = np.where(which, reading - _added(self.mean, places), 0.0)
        towards = np.where(which, towards, 0.0)
        gain = towards / variance
        self.mean += gain * off
        self.known -= gain[:, None] * towards[None]
        self.log_evidence -= 0.5 * (np.log(variance) + off * off / variance)


def _added(what: np.ndarray, places: tuple[int, ...]) -> np.ndarray:
    """The sum over the places that a reading sees; of a symmetric variance, the covariance."""
    return what[list(places)].sum(axis=0)


# ---- what follows ----
@dataclass(frozen=True)
class Stages:
    """Both stages of each of N instruments after its readings, for each of J pairs of q.

    weights: J by N. mean, known: 4 by J by N and 4 by 4 by J by N, mean and variance of (o, p,
    their rates) after the last visit; those of a wholly unknown level mean nothing.
    output_observed, primary_observed: False where no reading of that kind could be compared with
    an earlier one: then the stage's figures are those of the prior. own_weight: 2 by N, how far
    each rate is the instrument's own.
    """

    weights: np.ndarray
    mean: np.ndarray
    known: np.ndarray
    output_observed: np.ndarray
    primary_observed: np.ndarray
    own_weight: np.ndarray

    def __len__(self) -> int:
        return self.weights.shape[-1]

    def output_rate(self, confidence: float = 0.95) -> Band:
        """Rate of the output stage with its interval, % of span a year."""
        return mixture_band(self.weights, self.mean[2], self.known[2, 2], confidence)

    def primary_rate(self, confidence: float = 0.95) -> Band:
        """Rate of the primary element with its interval, % of span a year."""
        return mixture_band(self.weights, self.mean[3], self.known[3, 3], confidence)


def estimate(visits: Visits, *, output: Prior, primary: Prior) -> Stages:
    """Both stages of each instrument; a prior is one for all, or one place an instrument.

    Raises CannotFit where no reading of an instrument can be compared with an earlier one, or for
    priors that do not go with its visits.
    """
    for name, prior in (("output", output), ("primary", primary)):
        if np.atleast_1d(prior.rate).shape[-1] not in (1, len(visits)):
            raise CannotFit(name, f"{np.size(prior.rate)} priors for {len(visits)} instruments")
    parts = [
        _estimate(visits.columns(part), _of(output, part), _of(primary, part))
        for part in blocks(len(visits), BLOCK)
    ]
    stages = concatenate(parts)
    nothing = ~(stages.output_observed | stages.primary_observed)
    refuse(nothing, "simulated, wetted", "no reading can be compared with an earlier one")
    return stages


def _estimate(visits: Visits, output: Prior, primary: Prior) -> Stages:
    first, second = output.q.shape[0], primary.q.shape[0]
    q = np.repeat(output.q, second, axis=0), np.tile(primary.q, (first, 1))
    before = np.repeat(output.weights, second, axis=0) * np.tile(primary.weights, (first, 1))
    filtered = _Filter(visits, q, (output, primary))
    filtered.run()
    weights, _ = node_weights(filtered.log_evidence, before)
    rates = [filtered.known[i, i] for i in (2, 3)]
    variances = [np.maximum(prior.variance, 1e-300) for prior in (output, primary)]
    own = [
        1 - (weights * rate).sum(axis=0) / variance
        for rate, variance in zip(rates, variances, strict=True)
    ]
    whole = (len(visits),)
    return Stages(
        weights=weights,
        mean=filtered.mean[:4],
        known=filtered.known[:4, :4],
        output_observed=filtered.compared[SIMULATED] > 0,
        primary_observed=filtered.compared[WETTED] > 0,
        own_weight=np.array([np.broadcast_to(np.clip(part, 0, 1), whole) for part in own]),
    )


def _of(prior: Prior, part: slice) -> Prior:
    """The columns of a prior that may be one for all; rates that change are left out here."""

    def cut(values: np.ndarray) -> np.ndarray:
        return values[..., part] if np.shape(values)[-1:] not in ((), (1,)) else values

    steady = prior.of_steady_rate
    return Prior(*(cut(np.atleast_1d(getattr(steady, f.name))) for f in fields(prior)))
