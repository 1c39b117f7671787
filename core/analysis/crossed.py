"""Decide the restricted likelihood of a linear model with one or two crossed random intercepts.

statsmodels has the model for nested groups; crossed, it works on a matrix of all trays, is slow
from thousands of trays on, and fails where a variance is zero. Here only the levels are
factorised, and zero is allowed. statsmodels is the reference in the tests.

References
----------
.. [1] Bates et al. 2015, J Stat Softw 67(1), doi:10.18637/jss.v067.i01 (the profiled criterion)
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, log, pi

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

FLAT = 1e-10
"""Residuals below this share of the values' own spread are rounding."""


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted model."""

    beta: Floats
    """Shape (p,), the fixed effects."""
    covariance: Floats
    """Shape (p, p), theirs."""
    variances: tuple[float, ...]
    """Of each random intercept."""
    residual: float
    """Variance of what is left."""
    fitted: Floats
    """Shape (n,), with the random intercepts."""
    criterion: float
    """-2 log restricted likelihood, as other programs give it."""
    converged: bool


def fit_crossed(y: Floats, x: Floats, factors: Sequence[Codes]) -> Fit | None:
    """Fit y = x beta + one random intercept for each factor + e; None where nothing varies.

    Parameters
    ----------
    y, x
        Shapes (n,) and (n, p), x of full rank.
    factors
        One or two of shape (n,), levels from 0, none left out.
    """
    from scipy.optimize import minimize  # noqa: PLC0415

    start, *_ = np.linalg.lstsq(x, y, rcond=None)
    rest = y - x @ start
    spread = float(np.abs(y - y.mean()).max())
    if float(np.abs(rest).max()) <= FLAT * max(spread, float(np.abs(y).max())):
        return None
    unit = float(rest.std())
    model = _Crossed(rest / unit, x, factors)
    guess = model.moments()
    simplex = [guess, *(np.where(np.arange(len(guess)) == at, guess * 2, guess)
                        for at in range(len(guess)))]  # fmt: skip
    found = minimize(
        lambda theta: model.solve(theta).criterion,
        guess,
        method="Nelder-Mead",
        bounds=[(0.0, None)] * len(guess),
        options={"initial_simplex": simplex, "xatol": 1e-7, "fatol": 1e-9, "maxiter": 1000},
    )
    best = _at_zero(model, found.x)
    solved = model.solve(best)
    rescaled = 2 * (len(y) - x.shape[1]) * log(unit)
    return Fit(
        beta=start + unit * solved.beta,
        covariance=unit**2 * solved.covariance,
        variances=tuple((unit**2 * solved.residual * best**2).tolist()),
        residual=unit**2 * solved.residual,
        fitted=y - unit * solved.rest,
        criterion=solved.criterion + rescaled,
        converged=bool(found.success),
    )


def leaves_nothing(y: Floats, x: Floats, factors: Sequence[Codes]) -> bool:
    """Say whether x and one mean for each level fit every value but for rounding.

    Then chance cannot be told from anything, and the criterion has no best.
    """
    from scipy.sparse import csr_array, hstack  # noqa: PLC0415
    from scipy.sparse.linalg import lsqr  # noqa: PLC0415

    rows, ones = np.arange(len(y)), np.ones(len(y))
    columns = [csr_array(x), *(csr_array((ones, (rows, codes))) for codes in factors)]
    centred = y - y.mean()
    reach = float(np.abs(centred).max())
    if reach <= FLAT * float(np.abs(y).max()):
        return True
    whole = hstack(columns).tocsr()
    found = lsqr(whole, centred, atol=1e-14, btol=1e-14, iter_lim=4 * sum(whole.shape))
    return bool(np.abs(centred - whole @ found[0]).max() <= FLAT * reach)


def _at_zero(model: "_Crossed", theta: Floats) -> Floats:
    """Take a random effect out where the criterion is no worse without it."""
    for at in range(len(theta)):
        without = np.where(np.arange(len(theta)) == at, 0.0, theta)
        if model.solve(without).criterion <= model.solve(theta).criterion:
            theta = without
    return theta


@dataclass(frozen=True, slots=True)
class _Solved:
    """The model at given ratios of standard deviations, with all else at its best."""

    criterion: float
    beta: Floats
    covariance: Floats
    residual: float
    rest: Floats


class _Crossed:
    """Sums over the levels, made once, and the criterion from them."""

    def __init__(self, y: Floats, x: Floats, factors: Sequence[Codes]) -> None:
        # The factor with more levels comes first: its block is diagonal and costs nothing.
        self.order = sorted(range(len(factors)), key=lambda at: -int(factors[at].max()))
        self.y, self.x = y, x
        self.codes = [factors[at] for at in self.order]
        self.sizes = [int(codes.max()) + 1 for codes in self.codes]
        both = np.column_stack([x, y])
        self.gram = both.T @ both
        self.sums = [
            _sums(codes, size, both) for codes, size in zip(self.codes, self.sizes, strict=True)
        ]
        self.counts = [np.bincount(codes).astype(np.float64) for codes in self.codes]
        self.shared: Floats | None = None
        if len(factors) > 1:
            self.shared = np.zeros((self.sizes[0], self.sizes[1]))
            np.add.at(self.shared, (self.codes[0], self.codes[1]), 1.0)

    def moments(self) -> Floats:
        """Guess the ratios from the spread of the levels' means; never zero."""
        guesses = np.full(len(self.codes), 0.5)
        for place, at in enumerate(self.order):
            means = self.sums[place][:, -1] / self.counts[place]
            guesses[at] = max(float(means.std()), 0.1)
        return guesses

    def solve(self, theta: Floats) -> _Solved:
        """Give the criterion and all else at these ratios (standard deviation to residual's)."""
        from scipy.linalg import LinAlgError, cho_factor, cho_solve  # noqa: PLC0415

        n, p = self.x.shape
        try:
            levels = self._levels([float(theta[at]) for at in self.order])
            gram = self.gram - levels.explained
            of_x = cho_factor(gram[:p, :p], lower=True)
        except LinAlgError:
            return _Solved(inf, np.zeros(p), np.zeros((p, p)), 0.0, self.y)
        beta = cho_solve(of_x, gram[:p, p])
        squares = max(float(gram[p, p] - gram[:p, p] @ beta), np.finfo(float).tiny)
        residual = squares / (n - p)
        log_det = levels.log_det + 2 * float(np.log(np.diag(of_x[0])).sum())
        rest = self.y - self.x @ beta
        for effects, codes in zip(levels.effects(np.append(-beta, 1.0)), self.codes, strict=True):
            rest = rest - effects[codes]
        criterion = log_det + (n - p) * (1 + log(2 * pi * residual))
        return _Solved(criterion, beta, residual * cho_solve(of_x, np.eye(p)), residual, rest)

    def _levels(self, ratios: Sequence[float]) -> "_Levels":
        """Factorise the levels at these ratios: the first factor's block is diagonal."""
        from scipy.linalg import cho_factor, cho_solve  # noqa: PLC0415

        diagonal = 1 + ratios[0] ** 2 * self.counts[0]
        first = ratios[0] * self.sums[0]
        shrunk = first / diagonal[:, None]
        explained, log_det = first.T @ shrunk, float(np.log(diagonal).sum())
        if self.shared is None:
            return _Levels(ratios, diagonal, first, explained, log_det)
        cross = ratios[0] * ratios[1] * self.shared
        own = np.diag(1 + ratios[1] ** 2 * self.counts[1])
        factor = cho_factor(own - cross.T @ (cross / diagonal[:, None]), lower=True)
        second = ratios[1] * self.sums[1] - cross.T @ shrunk
        solved = cho_solve(factor, second)
        log_det += 2 * float(np.log(np.diag(factor[0])).sum())
        explained = explained + second.T @ solved
        return _Levels(ratios, diagonal, first, explained, log_det, cross, solved)


@dataclass(frozen=True, slots=True)
class _Levels:
    """What the levels take up of the sums of squares, at given ratios."""

    ratios: Sequence[float]
    diagonal: Floats
    first: Floats
    explained: Floats
    log_det: float
    cross: Floats | None = None
    solved: Floats | None = None

    def effects(self, mix: Floats) -> list[Floats]:
        """Give the effect of each level of each factor on a mix of the columns."""
        if self.cross is None or self.solved is None:
            return [self.ratios[0] * (self.first @ mix) / self.diagonal]
        inner = self.solved @ mix
        outer = (self.first @ mix - self.cross @ inner) / self.diagonal
        return [self.ratios[0] * outer, self.ratios[1] * inner]


def _sums(codes: Codes, size: int, columns: Floats) -> Floats:
    """Sum columns over the levels of a factor: shape (levels, columns)."""
    return np.column_stack([np.bincount(codes, column, size) for column in columns.T])
