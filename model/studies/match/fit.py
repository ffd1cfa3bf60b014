"""Weighted least squares on a model that is solved, not differentiated, and what it leaves open.

Parameters are transformed (logarithms, or levels as they are), so that steps and covariances are
those of factors. Derivatives are differences of whole solves, which may run at the same time.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Solve = Callable[[Sequence[Floats]], list[Floats | None]]
"""From points (p,) to values (m,) of each; None where a point has no answer."""

MOST_ROUNDS = 25
"""Points at which the model and its derivatives are asked for at most."""
CLOSE_FIT, CLOSE_STEP = 1e-5, 1e-4
"""Relative change of the sum of squares, and of the parameters, at which the fit stands."""


@dataclass(frozen=True)
class Fit:
    """A least-squares fit of p parameters to m residuals.

    Parameters
    ----------
    x : the parameters (p,), transformed.
    first, values : the model (n,) at the start and at the end; n observations.
    residuals : (m,) weighted, at the end; what was known before stands behind observations.
    jacobian : (n, p) of the model's values, by central differences at the end.
    first_jacobian : (n, p) at the start, by differences to one side.
    covariance : (p, p) of the parameters, scaled up where residuals are larger than their errors.
    scale : reduced sum of squares by which the covariance is scaled, at least 1.
    quantile : of Student's t for 95 % intervals.
    singular, directions : singular values (p,) of the weighted Jacobian in units of `known`, and
        their directions (p, p) in rows: a direction whose value is below 1 is told less by the
        measurements than by what was known.
    """

    x: Floats
    first: Floats
    values: Floats
    residuals: Floats
    jacobian: Floats
    first_jacobian: Floats
    covariance: Floats
    scale: float
    quantile: float
    singular: Floats
    directions: Floats
    rounds: int
    converged: bool
    why: str

    @property
    def deviations(self) -> Floats:
        """Standard deviations (p,) of the transformed parameters."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def correlation(self) -> Floats:
        """Correlation (p, p) of the transformed parameters."""
        wide = self.deviations
        return self.covariance / np.outer(wide, wide)

    def spread_of(self, jacobian: Floats) -> Floats:
        """Standard deviations (k,) of values with these derivatives (k, p), to first order."""
        return np.sqrt(np.einsum("ij,jk,ik->i", jacobian, self.covariance, jacobian))


class NoStart(Exception):
    """The model has no answer where the fit begins."""


def fit(
    solve: Solve,
    start: Floats,
    bounds: tuple[Floats, Floats],
    steps: Floats,
    measured: Floats,
    errors: Floats,
    known: Floats,
    prior: NDArray[np.bool_],
    say: Callable[[str], None] = lambda text: None,
) -> Fit:
    """Fit by scipy's trust region (Branch, Coleman & Li 1999) within bounds.

    Parameters
    ----------
    start, bounds, steps : (p,) transformed; `steps` those of the differences.
    measured, errors : (n,) with standard errors, infinite where a value is not to count.
    known : (p,) standard deviations of what was known about `start`.
    prior : (p,) whether that joins the fit as one more measurement.

    Raises
    ------
    NoStart : the model has no answer at `start`, or none around a point.

    References
    ----------
    Covariance and intervals of nonlinear least squares: Seber & Wild, Nonlinear Regression (1989),
    §5.1 (value from memory).
    """
    from scipy.optimize import least_squares
    from scipy.stats import norm, t

    count, p = measured.size, start.size
    low, high = bounds
    weights = np.where(np.isfinite(errors), 1.0 / errors, 0.0)
    seen: dict[bytes, tuple[Floats, Floats]] = {}
    first: list[tuple[Floats, Floats]] = []

    def residuals(values: Floats, x: Floats) -> Floats:
        wrong = np.where(weights > 0, (values - measured) * weights, 0.0)
        return np.concatenate([wrong, ((x - start) / known)[prior]])

    def model(x: Floats) -> Floats:
        # The derivatives are asked for together with the values: they keep all workers busy.
        ahead = np.where(x + steps <= high, steps, -steps)
        points = [x, *(x + ahead[i] * np.eye(p)[i] for i in range(p))]
        values, *around = solve(points)
        if values is None or not np.isfinite(values[weights > 0]).all():
            if not first:
                raise NoStart
            return np.full(count + int(prior.sum()), np.inf)
        jacobian = _differences(solve, x, values, around, ahead, weights)
        first.append((values, jacobian))
        seen[x.tobytes()] = values, jacobian
        told = residuals(values, x)
        say(f"round {len(first)}: sum of squares {float(told @ told):.4g}")
        return told

    def weighted(jacobian: Floats) -> Floats:
        kept = np.where(weights[:, None] > 0, jacobian * weights[:, None], 0.0)
        return np.vstack([kept, np.diag(1.0 / known)[prior]])

    found = least_squares(
        model,
        np.clip(start, low + 1e-9, high - 1e-9),
        jac=lambda x: weighted(seen[x.tobytes()][1]),
        bounds=(low, high),
        x_scale="jac",
        ftol=CLOSE_FIT,
        xtol=CLOSE_STEP,
        gtol=1e-10,
        max_nfev=MOST_ROUNDS,
    )
    x, (values, rough) = found.x, seen[found.x.tobytes()]
    jacobian = _central(solve, x, bounds, steps, rough)
    slopes, told = weighted(jacobian), residuals(values, x)
    rows = int((weights > 0).sum() + prior.sum())
    free = rows - p
    scale = max(1.0, float(told @ told) / free) if free > 0 else 1.0
    # pinv, not inv: a direction that nothing tells about gets what was known of it, below.
    normal = slopes.T @ slopes
    scaled = weighted(jacobian)[:count] * known
    _, singular, directions = np.linalg.svd(scaled, full_matrices=True)
    singular = np.concatenate([singular, np.zeros(p - singular.size)])
    return Fit(
        x=x,
        first=first[0][0],
        values=values,
        residuals=told,
        jacobian=jacobian,
        first_jacobian=first[0][1],
        covariance=_covariance(normal, known) * scale,
        scale=scale,
        quantile=float(t.ppf(0.975, free) if free > 0 else norm.ppf(0.975)),
        singular=singular,
        directions=directions,
        rounds=len(first),
        converged=bool(found.status > 0),
        why=str(found.message),
    )


def _covariance(normal: Floats, known: Floats) -> Floats:
    """The inverse of the normal matrix; a direction told by nothing is wide, not infinite."""
    scaled = normal * np.outer(known, known)
    values, vectors = np.linalg.eigh(scaled)
    # A millionth of what was known: such an interval is printed as one that tells nothing.
    values = np.maximum(values, 1e-6)
    return (vectors / values) @ vectors.T * np.outer(known, known)


def _differences(
    solve: Solve,
    x: Floats,
    values: Floats,
    around: list[Floats | None],
    ahead: Floats,
    weights: Floats,
) -> Floats:
    """Derivatives (n, p) to one side; to the other side where that has no answer."""
    found = np.zeros((values.size, x.size))
    for index, one in enumerate(around):
        step = ahead[index]
        if one is None or not np.isfinite(one[weights > 0]).all():
            step = -step
            other = x.copy()
            other[index] += step
            (one,) = solve([other])
            if one is None:
                raise NoStart
        found[:, index] = (one - values) / step
    return found


def _central(
    solve: Solve, x: Floats, bounds: tuple[Floats, Floats], steps: Floats, rough: Floats
) -> Floats:
    """Central differences where both sides lie within the bounds and answer, else `rough`."""
    low, high = bounds
    inside = np.flatnonzero((x - steps >= low) & (x + steps <= high))
    points = [x + sign * steps[i] * np.eye(x.size)[i] for i in inside for sign in (1, -1)]
    solved = solve(points) if points else []
    found = rough.copy()
    for number, index in enumerate(inside):
        up, down = solved[2 * number], solved[2 * number + 1]
        if up is not None and down is not None:
            found[:, index] = (up - down) / (2 * steps[index])
    return found
