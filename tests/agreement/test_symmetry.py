"""What must hold of any right answer: superposition, scaling, mirror. No number from outside."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wellring.model.runs.run import run

CLOSURE = 1e-4
"""Heads are solved to this [m]."""
WELLS = ((4.0, 5.0), (17.0, 8.0))

Heads = Callable[..., Any]


@pytest.fixture
def lowered(plain_site: Callable[..., Path], solver: Path, tmp_path: Path) -> Heads:
    """Fall of the heads (nlay, nrow, ncol) [m] by two wells in sand under clay, and the x edges.

    The dig stays above the water and the sand stays full, so that all is linear but for the water
    table in the clay, which hardly moves.
    """

    def made(rates: Sequence[float], k: float = 1.0, mirrored: bool = False) -> tuple[Any, Any]:
        wells = [(20.0 - x, y) if mirrored else (x, y) for x, y in WELLS]
        path = plain_site(
            tmp_path / f"{rates} {k} {mirrored}",
            layers=(("clay", -4.0), ("sand", -14.0)),
            soils={"clay": (1e-9 * k, 1e-9 * k), "sand": (2e-4 * k, 1e-4 * k)},
            level=-0.5,
            formations=(-0.3,),
            cell=3.0,
            sublayer=4.0,
            grid={"growth": 1.5},
            drainage=[
                {
                    "points": (place,),
                    "screen": (-13.0, -5.0),
                    "diameter": "300 mm",
                    "rate": f"{rate} m3/h",
                }
                for place, rate in zip(wells, rates, strict=True)
            ],
        )
        done = run(path, solver=solver, figures=False, side_studies=False)[0].reader
        before, after = (done.heads(stage) for stage in done.ledger.stages)
        flows = [well.flow[-1] for well in done.ledger.wells]
        assert flows == pytest.approx([rate / 3600 for rate in rates], rel=1e-6)
        shape = (-1, *done.plan_shape)
        return (before - after).reshape(shape), np.asarray(done.ledger.grid.x_edges)

    return made


def sand(fall: Any) -> Any:
    """The lower half of the layers, all in the sand; NaN beyond the source is left out."""
    part = fall[-1]
    return part[np.isfinite(part)]


def test_falls_add_up_and_scale(lowered: Heads) -> None:
    """s(Q1, Q2) = s(Q1, ~0) + s(~0, Q2), and ten times k with ten times Q is the same fall."""
    both, one, other = (sand(lowered(rates)[0]) for rates in ((3, 2), (3, 1e-6), (1e-6, 2)))
    assert both.max() > 0.1
    np.testing.assert_allclose(one + other, both, rtol=1e-3, atol=3 * CLOSURE)
    tenfold = sand(lowered((30, 20), k=10.0)[0])
    np.testing.assert_allclose(tenfold, both, rtol=1e-3, atol=3 * CLOSURE)


def test_the_mirrored_site_has_the_mirrored_answer(lowered: Heads) -> None:
    fall, edges = lowered((3, 2))
    mirror, mirrored_edges = lowered((3, 2), mirrored=True)
    np.testing.assert_allclose(np.diff(mirrored_edges)[::-1], np.diff(edges), rtol=0, atol=1e-6)
    np.testing.assert_allclose(mirror[:, :, ::-1], fall, rtol=0, atol=2 * CLOSURE)
