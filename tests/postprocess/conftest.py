"""A run whose pit is turned, whose gravel has a head of its own and whose names are awkward."""

import json
import math
from collections.abc import Callable
from pathlib import Path

import pytest

from wellring.model.run import run as run_scheme
from wellring.postprocess.run_folder import RunFolder

TURN = math.radians(27.0)
SITE = 'Cost $5 & $x_1^2$ <b>"Yard"</b> 😀 שלום'
POINT = "_café $\\frac{1}{2}$"
BORING = "_B$1"


def turned(x: float, y: float) -> tuple[float, float]:
    """A place beside the pit's first corner, turned with the pit."""
    return (math.cos(TURN) * x - math.sin(TURN) * y, math.sin(TURN) * x + math.cos(TURN) * y)


@pytest.fixture(scope="session")
def turned_run(
    tmp_path_factory: pytest.TempPathFactory, plain_site: Callable[..., Path]
) -> RunFolder:
    """A pit turned by 27 degrees in sand above clay above gravel, a well or more in each.

    A sheet pile stands along its south side; the clearance asked for is kept in a part of it.
    Read it, never write into it.
    """
    folder = tmp_path_factory.mktemp("turned")
    corners = [turned(*corner) for corner in ((0, 0), (24, 0), (24, 14), (0, 14))]
    wells = {
        "diameter": "300 mm",
        "pump": {"capacity": "60 m3/h", "head": "20 m", "efficiency": 0.6},
    }
    path = plain_site(
        folder / "site",
        pit=corners,
        layers=(("sand", -7.0), ("clay", -9.0), ("gravel", -14.0), ("marl", -16.0)),
        soils={
            "sand": (1e-4, 5e-5),
            "clay": (1e-9, 1e-9),
            "gravel": (5e-4, 2e-4),
            "marl": (1e-9, 1e-9),
        },
        formations=(-2.5, -4.0),
        clearance=0.65,
        source=80.0,
        walls=(
            {
                "kind": "sheet pile",
                "line": [turned(0, 0), turned(24, 0)],
                "toe": -6.0,
                "joint_resistance": "3e-7 m/s",
                "pile_width": 0.6,
            },
        ),
        drainage=(
            {
                "name": "sand wells",
                "ring": {"offset": 1.5, "count": 8},
                "screen": [-7.0, -3.0],
                "hold": -5.8,
                **wells,
            },
            {
                "name": "gravel well",
                "points": [turned(12, 7)],
                "screen": [-14.0, -9.5],
                "hold": -4.0,
                **wells,
            },
        ),
        points={POINT: turned(30, 5)},
    )
    for file in (folder / "site").glob("*.csv"):
        file.write_text(file.read_text().replace("B1", BORING))
    text = path.read_text(encoding="utf-8").replace(
        'name = "Plain"', f"name = {json.dumps(SITE, ensure_ascii=False)}"
    )
    path.write_text(text, encoding="utf-8")
    (finished,) = run_scheme(path, out=folder / "runs", figures=False, side_studies=False)
    return RunFolder(finished.folder)
