"""The moisture balance of a house from its log, by maximum likelihood: drying, slow store, gains, humidifier.

The model is the plant's (its equations are on top of sim/dewsim/plant.py) in steps of half an hour, with two unknowns
that wander and are filtered (Kalman 1960): the indoor air's humidity, which showers and cooking push by what they
differ from their usual, and how far the outdoor air's is from what its temperature says.

    dW/dt = a f (W_out + e - W) + K (phi_b - phi) + p P(t) + b B(t) + s h(t)
    a = n/k at 20 K and 4 m/s   K [g/kg/h per % RH], tau_b the store's time constant   p, b people and bursts
    s: what a wet pad adds [g/kg/h]   h: wetness of the pad by fan and valve   e: wanders over a day
    what is measured = W + d W_sat/100, d: how much the humidity sensor reads high [% RH], seen as the air warms

Everything is divided by k M: a log tells ratios, never volume or k themselves.  p, b, s, d and the store's start enter
linearly and are solved for at each try of (a, K, tau_b, spread of e).  The priors are wide and say what houses in
general are like, so that what a log cannot tell comes out as usual and wide.
"""

from math import exp, hypot, log, sqrt
from typing import NamedTuple

import numpy as np
from scipy.optimize import minimize

from dewsim.fit_series import STEP_H, Steps

NAMES = ("dry_per_h", "store_per_h", "tau_b_h", "outdoor_g_kg")
LINEAR = ("people", "bursts", "valve_g_kg_h", "store_start_pct", "rh_error_pct")
# Median and spread of the logarithm: ranges of house models, assumptions
PRIOR = ((0.2, 1.0), (0.02, 1.2), (48.0, 0.6), (0.5, 0.5))
BOUNDS = ((0.004, 4.0), (1e-4, 1.0), (5.0, 300.0), (0.02, 4.0))
LINEAR_PRIOR = ((2.0, 5.0), (0.5, 3.0), (0.4, 1.0), (0.0, 10.0), (0.0, 1.5))
# What the likelihood does not know of: wind, altitude, a sensor's gain, a pad of another time constant.  Relative, from
# the errors of the first houses of tests/acceptance/fit_houses.py
UNKNOWN = {"dry_per_h": 0.2, "store_per_h": 0.15, "people": 0.15, "bursts": 0.1, "valve_g_kg_h": 0.08}
UNKNOWN_RH_PCT = 0.8  # the same of what the humidity sensor reads high, from thirty other houses
MEASURED_G_KG = 0.02  # spread of a mean of eleven minutes of humidity
WANDER_H = 24.0
GAP_G_KG = 2.0  # how far the air goes its own way in an hour nobody recorded
LEAST_BURST, FIRST_BURST = 0.003, 0.1  # spread of what the gains differ by in an hour [g/kg]
LEFT_OUT = 3  # largest surprises of each hour of the day when their usual size is worked out
STEP_LOG = 0.1  # of the differences that the spread of the result is worked out by
ROUNDS = (("Nelder-Mead", 40), ("L-BFGS-B", 8), ("L-BFGS-B", 20))


class Moisture(NamedTuple):
    """What was found; spread: one standard deviation of each, of the first four of their logarithm."""

    dry_per_h: float
    store_per_h: float
    tau_b_h: float
    outdoor_g_kg: float
    people: float
    bursts: float
    valve_g_kg_h: float
    store_start_pct: float
    rh_error_pct: float
    spread: dict


def fit(steps: Steps, progress=None) -> Moisture:
    """The likeliest balance.  progress(share) is called at each try."""
    trial = _Trial(steps, progress)
    at = np.array([log(middle) for middle, _ in PRIOR])
    bounds = [(log(low), log(high)) for low, high in BOUNDS]
    for method, most in ROUNDS:
        found = minimize(trial.cost, at, method=method, bounds=bounds, options={"maxiter": most})
        at = found.x
        trial.learn_bursts(at)
    covariance = _covariance(trial, at, bounds)
    low, high = np.array(bounds).T
    at_end = (at < low + 0.01) | (at > high - 0.01)
    linear, linear_covariance = trial.solve(at)[1:3]
    slopes = np.array([
        (trial.solve(at + step)[1] - linear) / STEP_LOG for step in STEP_LOG * np.eye(len(at))
    ])  # fmt: skip
    linear_covariance = linear_covariance + slopes.T @ covariance @ slopes
    found_spread = np.where(at_end, np.inf, np.sqrt(np.diag(covariance)))
    spread = dict(zip(NAMES, found_spread.tolist()))
    spread |= dict(zip(LINEAR, np.sqrt(np.diag(linear_covariance)).tolist()))
    scale = dict(zip(LINEAR, np.abs(linear).tolist()))
    for name, share in UNKNOWN.items():
        spread[name] = hypot(spread[name], share * scale.get(name, 1.0))
    spread["rh_error_pct"] = hypot(spread["rh_error_pct"], UNKNOWN_RH_PCT)
    return Moisture(*np.exp(at).tolist(), *linear.tolist(), spread)


def _covariance(trial: "_Trial", at, bounds) -> np.ndarray:
    """Of the four, by the curvature of the cost; nothing is known better than a rounding, or worse than the prior."""
    low, high = np.array(bounds).T
    at = np.clip(at, low + STEP_LOG, high - STEP_LOG)
    n = len(at)
    shift = STEP_LOG * np.eye(n)
    middle = trial.cost(at)
    up = [trial.cost(at + step) for step in shift]
    down = [trial.cost(at - step) for step in shift]
    curve = np.empty((n, n))
    for i in range(n):
        curve[i, i] = (up[i] - 2.0 * middle + down[i]) / STEP_LOG**2
        for j in range(i):
            both = trial.cost(at + shift[i] + shift[j])
            curve[i, j] = curve[j, i] = (both - up[i] - up[j] + middle) / STEP_LOG**2
    least = min(1.0 / spread**2 for _, spread in PRIOR)
    values, vectors = np.linalg.eigh(curve)
    return vectors @ np.diag(1.0 / np.maximum(values, least)) @ vectors.T


class _Trial:
    """One log, tried against houses; what the gains usually differ by is learned by the hour of the day."""

    def __init__(self, steps: Steps, progress):
        self.steps = steps
        self.progress = progress
        self.tries = 0
        self.hourly = np.full(24, FIRST_BURST)
        self.known = np.isfinite(steps.moment_g_kg)
        self.moment = np.where(self.known, steps.moment_g_kg, 0.0).tolist()
        self.is_known = self.known.tolist()
        self.per_pct = (0.01 * steps.moment_sat_g_kg).tolist()

    def cost(self, at) -> float:
        """Minus the logarithm of the posterior."""
        self.tries += 1
        if self.progress:
            self.progress(min(1.0, self.tries / 230.0))
        unlikely = sum(((x - log(middle)) / spread) ** 2 for x, (middle, spread) in zip(at, PRIOR))
        return self.solve(at)[0] + 0.5 * unlikely

    def solve(self, at) -> tuple:
        """(cost without the prior of the four, linear parameters, their covariance, what was left, its variance)."""
        surprises, variance = self._filter(*np.exp(at))
        weight = 1.0 / np.sqrt(variance)
        prior = np.diag([1.0 / spread for _, spread in LINEAR_PRIOR])
        rows = np.vstack([-surprises[:, 1:] * weight[:, None], prior])
        wanted = np.concatenate([surprises[:, 0] * weight, [middle / spread for middle, spread in LINEAR_PRIOR]])
        free = np.ones(len(LINEAR), dtype=bool)
        for _ in LINEAR:  # gains and humidifier add water, or nothing
            linear = np.zeros(len(LINEAR))
            linear[free] = np.linalg.lstsq(rows[:, free], wanted, rcond=None)[0]
            below = (linear < 0.0) & free & (np.arange(len(LINEAR)) < 3)
            if not below.any():
                break
            free &= ~below
        left = wanted - rows @ linear
        cost = 0.5 * float(left @ left) + 0.5 * float(np.log(variance).sum())
        return cost, linear, np.linalg.inv(rows.T @ rows), left[: len(variance)] / weight, variance

    def _columns(self, dry: float, store: float, tau_h: float) -> tuple:
        """What the air keeps of itself over a step, and what a step adds: known, and for each linear parameter."""
        s = self.steps
        rate = dry * s.wind_factor + 100.0 * store / s.sat_g_kg
        keep = np.exp(-rate * STEP_H)
        push = (1.0 - keep) / rate
        known = push * (dry * s.wind_factor * s.outdoor_g_kg + store * s.stored_pct(tau_h))
        start = push * store * np.exp(-s.at_h / tau_h)
        columns = np.stack([known, push * s.people, push * s.bursts, push * s.wetness, start, np.zeros(s.count)], 1)
        return keep, push * dry * s.wind_factor, columns

    def _filter(self, dry: float, store: float, tau_h: float, outdoor: float) -> tuple:
        """(surprises of the measured air and of each linear column, variances), where a moment is known."""
        keep, follow, columns = self._columns(dry, store, tau_h)
        first, second, variance = self._gains(keep.tolist(), follow.tolist(), outdoor)
        stays = exp(-STEP_H / WANDER_H)
        air, out = np.zeros(columns.shape[1]), np.zeros(columns.shape[1])
        surprises = np.empty_like(columns)
        for j, (kept, followed, column) in enumerate(zip(keep.tolist(), follow.tolist(), columns)):
            if self.is_known[j]:
                surprise = -air
                surprise[0] += self.moment[j]
                surprise[-1] -= self.per_pct[j]
                surprises[j] = surprise
                air = air + first[j] * surprise
                out = out + second[j] * surprise
            air = kept * air + followed * out + column
            out = stays * out
        return surprises[self.known], variance[self.known]

    def _gains(self, keep: list, follow: list, outdoor: float) -> tuple:
        """Both gains of each step, and the variance of its surprise."""
        stays = exp(-STEP_H / WANDER_H)
        fresh = outdoor * outdoor * (1.0 - stays * stays)
        pushed = np.where(self.steps.is_gap, GAP_G_KG, self.hourly[self.steps.hour]) ** 2 * STEP_H
        measured = MEASURED_G_KG * MEASURED_G_KG
        air, both, out = 100.0, 0.0, outdoor * outdoor
        first, second, variance = [0.0] * len(keep), [0.0] * len(keep), np.ones(len(keep))
        for j, push in enumerate(pushed.tolist()):
            if self.is_known[j]:
                variance[j] = total = air + measured
                first[j], second[j] = air / total, both / total
                out -= second[j] * both
                both *= 1.0 - first[j]
                air *= 1.0 - first[j]
            kept, followed = keep[j], follow[j]
            air = kept * kept * air + 2.0 * kept * followed * both + followed * followed * out + push
            both = stays * (kept * both + followed * out)
            out = stays * stays * out + fresh
        return first, second, variance

    def learn_bursts(self, at) -> None:
        """The usual size of what gains differ by, for each hour of the day, from what was left."""
        left, variance = self.solve(at)[3:]
        before = np.concatenate([[0], self.steps.hour[:-1]])[self.known]  # what a surprise comes from
        counts = ~np.concatenate([[True], self.steps.is_gap[:-1]])[self.known]
        hourly = np.empty(24)
        for hour in range(24):
            mine = (before == hour) & counts
            squares = np.sort(left[mine] ** 2)
            squares = squares[:-LEFT_OUT] if len(squares) > 10 * LEFT_OUT else squares
            other = variance[mine].mean() - self.hourly[hour] ** 2 * STEP_H if mine.any() else 0.0
            size = (squares.mean() - other) / STEP_H if len(squares) else FIRST_BURST**2
            hourly[hour] = sqrt(max(size, LEAST_BURST**2))
        self.hourly = hourly

