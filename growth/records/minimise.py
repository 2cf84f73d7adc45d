"""Bounded minimisation of a smooth function of a few parameters, for the fits of churn curves."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations
from typing import Any

import numpy as np

Function = Callable[[np.ndarray], np.ndarray]  # points, shape (points, parameters), to values, shape (points,)
STEP = 3e-4  # of central differences
STEPS = 40  # of Newton's method
LONGEST = 2.0  # of one step, in each parameter
NEAR = 1e-6  # a step so short ends the search
DAMPING = np.array([0.0, 0.003, 0.03, 0.3, 3.0, 30.0, 300.0, 3000.0])  # multiples of the curvature added to it


def minimise(function: Function, starts: np.ndarray, *, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Minimise a function between bounds.

    Damped Newton's method from each start; if it fails to converge from one of them, as on long curved ridges, a
    Nelder-Mead search from all of them.

    Parameters
    ----------
    function : callable
        Takes points of shape (points, parameters), returns values of shape (points,).
    starts : np.ndarray
        Starting points, shape (starts, parameters).
    low, high : np.ndarray
        Bounds, shape (parameters,).

    Returns
    -------
    np.ndarray
        The minimiser, shape (parameters,).
    """
    found = []
    for start in starts:
        point = _by_newton(function, start, low, high)
        if point is None:
            return _by_simplex(function, starts, low, high)
        found.append(point)
    return found[int(np.argmin(function(np.stack(found))))]


def slopes(function: Function, at: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
    """Return the value, the gradient and the Hessian at a point, by central differences."""
    size, moves = at.size, STEP * np.eye(at.size)
    pairs = list(combinations(range(size), 2))
    corners = [a * moves[i] + b * moves[j] for i, j in pairs for a, b in ((1, 1), (1, -1), (-1, 1), (-1, -1))]
    values = function(at + np.vstack([np.zeros(size), moves, -moves, *corners]))
    value, ahead, behind = values[0], values[1 : size + 1], values[size + 1 : 2 * size + 1]
    matrix = np.diag((ahead - 2 * value + behind) / STEP**2)
    for (i, j), of_corners in zip(pairs, values[2 * size + 1 :].reshape(-1, 4), strict=True):
        matrix[i, j] = matrix[j, i] = of_corners @ (1, -1, -1, 1) / (4 * STEP**2)
    return float(value), (ahead - behind) / (2 * STEP), matrix


def _by_newton(function: Function, start: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray | None:
    """Search from one start; return None if it does not converge. Parameters pushed against a bound stay on it.

    Each step takes the best of several dampings. Source: Marquardt (1963), Journal of the Society for Industrial and
    Applied Mathematics 11, 431-441.
    """
    at = np.clip(start, low, high)
    for _ in range(STEPS):
        value, slope, matrix = slopes(function, at)
        free = ~(((at <= low) & (slope > 0)) | ((at >= high) & (slope < 0)))
        slope, matrix = np.where(free, slope, 0.0), np.where(np.outer(free, free), matrix, np.eye(at.size))
        scale = np.diag(np.maximum(np.abs(np.diag(matrix)), 1e-12))
        try:
            moves = np.linalg.solve(matrix + DAMPING[:, None, None] * scale, -slope[:, None])[..., 0]
        except np.linalg.LinAlgError:
            return None
        points = np.clip(at + np.clip(moves, -LONGEST, LONGEST), low, high)
        if np.abs(points[0] - at).max() < NEAR:
            return points[0] if (np.linalg.eigvalsh(matrix) > 0).all() else None
        values = function(points)
        best = int(np.argmin(values))
        if not values[best] < value:
            return None
        at = points[best]
    return None


def _by_simplex(function: Function, starts: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Search coarsely from each start, then finely from the best.

    Source: Nelder and Mead (1965), Computer Journal 7, 308-313.
    """
    from scipy.optimize import minimize

    def searched(start: np.ndarray, step: float, tolerance: float) -> Any:
        corners = np.vstack([start, start + step * np.eye(start.size)])
        options = {"xatol": tolerance, "fatol": tolerance / 10, "maxiter": 4000, "initial_simplex": corners}
        bounds = np.stack([low, high], axis=1)
        return minimize(lambda at: function(at[None])[0], start, method="Nelder-Mead", bounds=bounds, options=options)

    found = min((searched(start, 0.5, 1e-2) for start in starts), key=lambda one: one.fun)
    return searched(found.x, -0.1, 1e-8).x
