"""Water above the ground is told: rain that tight ground cannot carry, recharge that gives much."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wellring.model.runs.run import run as run_site


def told(site: Path) -> tuple[Any, list[str]]:
    (finished,) = run_site(site, figures=False, side_studies=False)
    return finished, [t for t in finished.answers.warnings if "above the ground" in t]


@pytest.mark.parametrize("rate", [2e-9, 2e-11])
def test_rain_on_tight_ground(tmp_path: Path, plain_site: Callable[..., Path], rate: float) -> None:
    """A strip of silt between held edges: rain raises it by N·L²/(8·T) and more (Dupuit), which is
    metres at 2e-9 m/s and nothing at a hundredth of it."""
    site = plain_site(
        tmp_path / "site",
        soils={"sand": (1e-7, 1e-7)},
        boundaries=[{"kind": "recharge", "rate": rate}],
        formations=(-1.0,),
        cell=5.0,
        sublayer=4.0,
    )
    run, found = told(site)
    natural = run.answers.stages[0]
    over = natural.table - natural.grid.top[0]
    if rate < 1e-10:
        assert not found
        return
    (text,) = found
    worst = float(np.nanmax(over))
    assert worst > 1.0
    assert text.startswith("before the work")
    assert f"{worst:.2f} m above the ground" in text
    x, y = run.reader.centres
    at = int(np.nanargmax(over))
    assert f"x {x[at]:.1f}, y {y[at]:.1f}" in text
    assert "lower the recharge" in text


def test_recharge_wells_that_flood_the_surface(
    tmp_path: Path, plain_site: Callable[..., Path]
) -> None:
    """Wells filled far above the ground: named with their stage, and nothing before the work."""
    give = {
        "method": "recharge wells",
        "points": [[75.0, 20.0]],
        "screen": [-8.0, 0.0],
        "diameter": "500 mm",
        "head_limit": 12.0,
        "rate": "400 m3/h",
    }
    site = plain_site(tmp_path / "site", drainage=[give], formations=(-1.0,), cell=5.0,
                      sublayer=4.0)  # fmt: skip
    _, found = told(site)
    (text,) = found
    assert text.startswith("dig 1")
    assert "lower the head limit" in text
