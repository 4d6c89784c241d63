"""Fleets with an output stage and a primary element whose truth is known, and their priors."""

from __future__ import annotations

import dataclasses

import numpy as np

from calibration.metrology.stage_visits import Visits
from calibration.metrology.stages import estimate
from calibration.metrology.wander import Prior

TOLERANCE = 0.5


def prior(rate, spread, *walks, weights=None) -> Prior:
    """Rates are normal; sqrt(q) is one of ``walks``."""
    one, n = np.ones(1), len(walks)
    weights = np.full((n, 1), 1 / n) if weights is None else np.array(weights)[:, None]
    return Prior(rate * one, spread * one, 0 * one, np.square(walks)[:, None], weights, one)


@dataclasses.dataclass(frozen=True)
class Fleet:
    """A fleet whose truth is known: rates, and readings of both kinds, of which ``mix`` shows
    some.
    """

    years: np.ndarray
    readings: dict[str, np.ndarray]
    rates: np.ndarray
    shown: np.ndarray  # visits by n: 0 both, 1 wetted, 2 simulated, 3 neither

    U, BEYOND = 0.05, 0.25
    OUTPUT, PRIMARY = (0.02, 0.03, 0.02), (0.10, 0.08, 0.05)  # rate, its spread, walk

    @classmethod
    def simulated(cls, n, visits_, mix, *, seed, walks=None) -> Fleet:
        """mix: names of what a visit reads, drawn alike.

        A trim or an adjustment where a shown reading is far off.
        """
        rng = np.random.default_rng(seed)
        gaps = rng.uniform(0.3, 2.0, (visits_ + 1, n))
        names = ("both", "wetted", "simulated", "neither")
        shown = rng.choice([names.index(name) for name in mix], (visits_ + 1, n))
        rates = np.stack([rng.normal(*stage[:2], n) for stage in (cls.OUTPUT, cls.PRIMARY)])
        if walks is None:
            walks = np.array([[cls.OUTPUT[2]], [cls.PRIMARY[2]]])
        state = rng.normal(0, 0.02, (2, n))
        out = {name: np.full((visits_ + 1, n), np.nan) for name in ("s", "w", "ls", "lw")}
        out |= {name: np.zeros((visits_ + 1, n), bool) for name in ("trim", "set")}
        for k in range(visits_ + 1):
            if k:
                state = state + rates * gaps[k]
                state = state + walks * np.sqrt(gaps[k]) * rng.normal(size=(2, n))
            e = cls.U * rng.normal(size=(4, n))
            out["s"][k], out["w"][k] = state[0] + e[0], state.sum(axis=0) + e[1]
            trim = np.isin(shown[k], (0, 2)) & (np.abs(out["s"][k]) > cls.BEYOND)
            reset = np.isin(shown[k], (0, 1)) & (np.abs(out["w"][k]) > cls.BEYOND)
            state = np.where([trim, reset], rng.normal(0, 0.02, (2, n)), state)
            out["trim"][k], out["set"][k] = trim, reset
            out["ls"][k], out["lw"][k] = state[0] + e[2], state.sum(axis=0) + e[3]
        return cls(np.cumsum(gaps, axis=0), out, rates, shown)

    def visits(self, n):
        r = {name: values[:n] for name, values in self.readings.items()}
        simulated, wetted = np.isin(self.shown[:n], (0, 2)), np.isin(self.shown[:n], (0, 1))
        return Visits.of(
            self.years[:n],
            simulated=np.where(simulated, r["s"], np.nan),
            wetted=np.where(wetted, r["w"], np.nan),
            simulated_left=np.where(simulated, r["ls"], np.nan),
            wetted_left=np.where(wetted, r["lw"], np.nan),
            trimmed=r["trim"],
            adjusted=r["set"],
            u_simulated=self.U,
            u_wetted=self.U,
        )

    def covered(self, n, *, output, primary) -> dict[str, float]:
        """Share of true rates within the 95 % bands after n visits, %; and the primary's width."""
        got = estimate(self.visits(n), output=output, primary=primary)
        truth = {"output": got.output_rate(), "primary": got.primary_rate()}
        share = {
            name: 100 * float(((rate >= band.lower) & (rate <= band.upper)).mean())
            for (name, band), rate in zip(truth.items(), self.rates, strict=True)
        }
        width = truth["primary"].upper - truth["primary"].lower
        return share | {"width": float(width.mean())}
