"""How R drifts over a long run: its slope, when R itself also walks at random."""

from __future__ import annotations

import math

import numpy as np

from benchapp.analysis.student import coverage_factor
from benchapp.quantity import engineering, ppm
from benchapp.study.conclusion import COVERAGE, Conclusion, Figure, Floats, StudyRun

_GROUPS = 64
_FREEDOM = 8  # of the scale: the slow part of the rest is what counts for a slope
_WALKS = np.concatenate([[0.0], 10.0 ** np.arange(-4.0, 4.01, 0.5)])


def stability(runs: list[StudyRun], blocks: list[Floats]) -> Conclusion:
    """`blocks` (4, n) of each run, time_s first and R in ohm second, in order; the time goes on from run to run."""
    t = np.concatenate([one[0] + run.started_s for run, one in zip(runs, blocks, strict=True)])
    R = np.concatenate([one[1] for one in blocks])
    size = max(1, len(t) // _GROUPS)
    count = len(t) // size * size
    t, R = (values[:count].reshape(-1, size).mean(axis=1) for values in (t, R))
    mean, slope, u_slope = slope_beside_walk(t, R)
    half = coverage_factor(_FREEDOM, COVERAGE) * u_slope
    per_hour = Figure("drift", slope * 3600, (slope - half) * 3600, (slope + half) * 3600, "ohm/h")
    picture = (t, R, mean + slope * (t - t.mean()))
    if per_hour.is_seen:
        text = f"R drifts by {engineering(per_hour.value, 'ohm', 3)} an hour, {ppm(per_hour.value, mean)}."
    else:
        seen = max(abs(per_hour.low), abs(per_hour.high))
        text = f"No drift is seen; above {engineering(seen, 'ohm', 2)} an hour ({ppm(seen, mean)}) it would have been."
    return Conclusion("stability", (per_hour,), text, picture=picture)


def slope_beside_walk(time_s: Floats, R: Floats) -> tuple[float, float, float]:
    """Mean, slope and its standard uncertainty by generalised least squares, white noise beside a walk.

    Which share is a walk's is not known well from one run: the result is the mean over all shares, each weighed by its
    restricted likelihood, so that what is not known of it widens the interval.
    """
    n = len(R)
    x = (time_s - time_s.mean()) / float(time_s[-1] - time_s[0])
    step = np.minimum.outer(time_s - time_s[0], time_s - time_s[0]) / float(np.median(np.diff(time_s)))
    X = np.column_stack([np.ones(n), x])
    costs, slopes, means, variances = [], [], [], []
    for walk in _WALKS:
        factor = np.linalg.cholesky(np.eye(n) + walk * step)
        white_X, white_R = np.linalg.solve(factor, X), np.linalg.solve(factor, R)
        information = white_X.T @ white_X
        b = np.linalg.solve(information, white_X.T @ white_R)
        rest = white_R - white_X @ b
        variance = float(rest @ rest) / (n - 2)
        cost = (n - 2) * math.log(variance) + 2 * float(np.log(np.diag(factor)).sum())
        cost += float(np.linalg.slogdet(information)[1])
        costs.append(cost)
        means.append(float(b[0]))
        slopes.append(float(b[1]))
        variances.append(variance * float(np.linalg.inv(information)[1, 1]))
    weights = np.exp(-(np.array(costs) - min(costs)) / 2)
    weights /= weights.sum()
    slope = float(weights @ np.array(slopes))
    variance = float(weights @ (np.array(variances) + (np.array(slopes) - slope) ** 2))
    span = float(time_s[-1] - time_s[0])
    return float(weights @ np.array(means)), slope / span, math.sqrt(variance) / span
