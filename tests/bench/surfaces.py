"""What a surface through borings costs: prints a table, asserts nothing.

Run ``python tests/bench/surfaces.py``: 40 borings to 40,000 points by every method, with the
standard deviation where kriged. Goal: under 2 s each.
"""

from __future__ import annotations

import time

import numpy as np

from wellring.model.geology.surface_interpolation import METHODS, interpolate

BORINGS, SIDE = 40, 200


def main() -> None:
    """Print the wall time of each method [s]."""
    random = np.random.default_rng(14)
    x, y = random.uniform(0.0, 200.0, (2, BORINGS))
    values = random.normal(-5.0, 2.0, BORINGS)
    at, along = (axis.ravel() for axis in np.meshgrid(*2 * [np.linspace(-500.0, 700.0, SIDE)]))
    for method in METHODS:
        interpolate(method, x, y, values, at[:10], along[:10])  # imports once
        began = time.perf_counter()
        interpolate(method, x, y, values, at, along, with_std=True)
        print(f"{method:8s} {time.perf_counter() - began:.2f} s to {at.size} points")


if __name__ == "__main__":
    main()
