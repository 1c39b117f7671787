"""Decide the likelihood of normal values of which some are only known to lie between bounds.

References
----------
.. [1] Tobin 1958, Econometrica 26:24-36, doi:10.2307/1907382
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import log, pi, sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Slope = Callable[[NDArray[np.float64]], NDArray[np.float64]]

STEP = 1e-5
"""Of the parameters when the slope is followed for the curvature."""
FLAT = 1e-5
"""Slope of the mean log likelihood at which it counts as the top."""


@dataclass(frozen=True, slots=True)
class BoundedFit:
    """A fitted model."""

    beta: Floats
    """Shape (p,)."""
    covariance: Floats
    """Shape (p, p), from the curvature of the log likelihood."""
    spread: float
    """Standard deviation of what is left."""
    log_likelihood: float
    converged: bool


def fit_bounded(low: Floats, high: Floats, x: Floats) -> BoundedFit:
    """Fit x beta + normal error to values between bounds.

    Parameters
    ----------
    low, high
        Shape (n,): equal for a value, -inf or inf for an open side, never both. At least two
        values that no beta fits at once are needed, else the spread has no best.
    x
        Shape (n, p), of full rank.
    """
    from scipy.optimize import minimize  # noqa: PLC0415

    n, p = x.shape
    # On orthogonal columns of size one all parameters are of one size.
    q, r = np.linalg.qr(x)
    q, r = q * sqrt(n), r / sqrt(n)
    place = np.where(np.isinf(low), high, np.where(np.isinf(high), low, (low + high) / 2))
    start, *_ = np.linalg.lstsq(q, place, rcond=None)
    begin = np.append(start, log(max(float((place - q @ start).std()), STEP)))

    def slope(at: Floats) -> Floats:
        return _mean_loss(at, low, high, q)[1]

    found = minimize(
        _mean_loss, begin, args=(low, high, q), jac=True, method="BFGS", options={"gtol": 1e-9}
    )
    best: Floats = found.x
    for _ in range(2):
        best = best - np.linalg.solve(_curvature(slope, best), slope(best))
    covariance = np.linalg.inv(n * _curvature(slope, best))[:p, :p]
    back = np.linalg.inv(r)
    loss, left = _mean_loss(best, low, high, q)
    return BoundedFit(
        beta=back @ best[:p],
        covariance=back @ covariance @ back.T,
        spread=float(np.exp(best[p])),
        log_likelihood=-n * loss,
        converged=bool(np.abs(left).max() < FLAT),
    )


def _mean_loss(at: Floats, low: Floats, high: Floats, x: Floats) -> tuple[float, Floats]:
    """Give minus the mean log likelihood, and its slope along beta and the log of the spread."""
    from scipy.special import log_ndtr  # noqa: PLC0415

    spread, mean = np.exp(at[-1]), x @ at[:-1]
    below, above = (low - mean) / spread, (high - mean) / spread
    value = low == high
    # The chance of a stretch on the right is that of its mirror image: no digits are lost.
    right = ~value & (below > 0)
    left_end = np.where(right, -above, below)
    right_end = np.where(right, -below, above)
    with np.errstate(divide="ignore", invalid="ignore"):
        outer, inner = log_ndtr(right_end), log_ndtr(left_end)
        chance = np.where(value, 0.0, outer + np.log1p(-np.exp(inner - outer)))
        log_likelihood = np.where(value, _log_normal(below) - at[-1], chance)
        dense_low, dense_high = (
            np.where(np.isinf(end), 0.0, np.exp(_log_normal(end) - chance))
            for end in (below, above)
        )
        by_mean = np.where(value, below, dense_low - dense_high) / spread
        low_part, high_part = (
            np.where(np.isinf(end), 0.0, end) * dense
            for end, dense in ((below, dense_low), (above, dense_high))
        )
        by_spread = np.where(value, below**2 - 1, low_part - high_part)
    slope = np.append(x.T @ by_mean, by_spread.sum()) / len(low)
    return -float(log_likelihood.mean()), -slope


def _log_normal(z: Floats) -> Floats:
    return -0.5 * (z**2 + log(2 * pi))


def _curvature(slope: Slope, at: Floats) -> Floats:
    """Follow the slope to both sides along each parameter: shape (k, k)."""
    steps = np.eye(len(at)) * STEP
    found = np.array([(slope(at + step) - slope(at - step)) / (2 * STEP) for step in steps])
    even: Floats = (found + found.T) / 2
    return even
