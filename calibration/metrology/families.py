"""The prior that a family of like instruments gives each member: rate, spread, random walk.

Fitted by expectation and maximisation over the sums of wander.py, all families of a fleet at once.
In each stand two pseudo-instruments of the default prior: they keep small families honest, and no
weight ever falls to nothing.
Source: derived for this book, as wander.py.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from calibration.metrology.blocks import map_blocks
from calibration.metrology.drift import CannotFit
from calibration.metrology.histories import Histories
from calibration.metrology.likelihood import Sums, node_weights, sums
from calibration.metrology.wander import (
    DEFAULT_RATE_SD,
    Prior,
    checked_tolerance,
    default_prior,
)
from plant.level.checks import whole_numbers

FEWEST_OTHERS = 5  # a family with fewer gives no prior: its members are judged alone
PSEUDO = 2.0
# Weight of the laws whose rate changes before the family has said anything: two or three visits
# cannot tell them from a walk.
CHANGING_AT_FIRST = 0.1
ITERATIONS = 25
WARM_ITERATIONS = 4


def fit_families(
    histories: Histories,
    family: ArrayLike,
    tolerance: ArrayLike,
    *,
    start: Prior | None = None,
    iterations: int | None = None,
) -> Prior:
    """A prior with one place a family; ``Prior.of(family)`` spreads it over the instruments.

    family: N, each instrument's family from 0 up. tolerance: half-width in % of span, one or N;
    the median of a family scales its values of q. start: an earlier fit of the same families, to
    go on from; it saves iterations. A family with fewer than FEWEST_OTHERS + 1 members keeps the
    default prior, and others = 0.
    Raises CannotFit for shapes that do not go together, negative families, or a tolerance not
    above zero.
    """
    member = _checked_members(histories, family)
    if iterations is not None:
        whole_numbers("iterations", iterations, below=1000)
    size = np.bincount(member)
    half = _medians(member, np.broadcast_to(checked_tolerance(tolerance), member.shape), size)
    default = default_prior(half)
    now = default_prior(half, CHANGING_AT_FIRST) if start is None else start
    if now.weights.shape != default.weights.shape:
        raise CannotFit("start", f"{now.rate.size} families, but {size.size} are to be fitted")
    now = replace(now, q=default.q, change=default.change)
    blocks = map_blocks(
        lambda part: (part, _sums(histories.columns(part), default, member[part])),
        len(histories),
    )
    for _ in range(iterations or (ITERATIONS if start is None else WARM_ITERATIONS)):
        now = _iterate(blocks, member, size, now, DEFAULT_RATE_SD * half)
    enough = size > FEWEST_OTHERS

    def fitted(name: str) -> np.ndarray:
        return np.where(enough, getattr(now, name), getattr(default, name))

    return Prior(
        fitted("rate"),
        fitted("spread"),
        fitted("mean_sd"),
        default.q,
        fitted("weights"),
        np.where(enough, size - 1, 0),
        default.change,
    )


def _sums(histories: Histories, prior: Prior, member: np.ndarray) -> Sums:
    return sums(histories, prior.q[:, member], prior.change[:, member])


def _checked_members(histories: Histories, family: ArrayLike) -> np.ndarray:
    member = np.asarray(family)
    if member.shape != (len(histories),) or not np.issubdtype(member.dtype, np.integer):
        raise CannotFit("family", "one whole number an instrument is needed")
    if member.size == 0 or member.min() < 0:
        raise CannotFit("family", "families are numbered from 0 up")
    return member


def _medians(member: np.ndarray, values: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Median of the values of each family; 1 for a number that no instrument has."""
    ordered = np.append(values[np.lexsort((values, member))], 1.0)
    first = np.cumsum(size) - size
    low, high = first + np.maximum(size - 1, 0) // 2, first + size // 2
    return np.where(size > 0, (ordered[low] + ordered[high]) / 2, 1.0)


def _iterate(
    blocks: list[tuple[slice, Sums]],
    member: np.ndarray,
    size: np.ndarray,
    now: Prior,
    rate0: np.ndarray,
) -> Prior:
    """One iteration of expectation and maximisation.

    Weights of q under the present prior, then the mean rate, spread and weights that suit them
    best.
    """
    count, n_nodes = size.size, now.weights.shape[0]

    def by_family(part: slice, values: np.ndarray) -> np.ndarray:
        return np.bincount(member[part], weights=values, minlength=count)

    worth, pull, nodes = np.zeros(count), np.zeros(count), np.zeros((n_nodes, count))
    posterior = []
    for part, s in blocks:
        own = now.of(member[part])
        spread2 = own.spread**2
        w, _ = node_weights(s.log_evidence(own.rate, spread2), own.weights)
        shrunk = w / (1 + spread2 * s.a)
        worth += by_family(part, (shrunk * s.a).sum(axis=0))
        pull += by_family(part, (shrunk * s.b).sum(axis=0))
        nodes += np.array([by_family(part, row) for row in w])
        posterior.append((part, s, w, spread2))
    worth += 1 / rate0**2
    mean = pull / worth
    scatter = np.zeros(count)
    for part, s, w, spread2 in posterior:
        one = 1 + spread2 * s.a
        # Rate less the mean, and its variance, of each instrument under each q.
        off = spread2 * (s.b - mean[member[part]] * s.a) / one
        scatter += by_family(part, (w * (spread2 / one + off**2)).sum(axis=0))
    spread = np.sqrt((scatter + PSEUDO * rate0**2 / 4 + 1 / worth) / (size + PSEUDO))
    at_first = default_prior(1.0, CHANGING_AT_FIRST).weights
    weights = (nodes + PSEUDO * at_first) / (size + PSEUDO)
    return replace(now, rate=mean, spread=spread, mean_sd=1 / np.sqrt(worth), weights=weights)
