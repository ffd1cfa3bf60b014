"""Runs that the tests of figures, layers and fields share, with awkward names."""

import json
import math
import re
import shutil
import warnings
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from wellring.model.runs.run import run as run_scheme
from wellring.postprocess.gis.gis_layers import write_layers
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult, read_results

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


# For layers, rasters and fields: the start site, turned, with awkward names.

START = Path(__file__).resolve().parents[2] / "model" / "start"
SLASHED_TURN = math.radians(23.0)
STAGE = '=first "dig" / 🕳 it\'s'
SCHEME = "six wells: 'ä' / <b>"
US_FOOT = 1200 / 3937


def turned_site(folder: Path) -> Path:
    """The site to start from, its pit turned by 23 degrees and its names made awkward."""
    shutil.copytree(START, folder)
    site = folder / "site.toml"
    text = site.read_text(encoding="utf-8")
    corners = []
    for x, y in [(-15, -10), (15, -10), (15, 10), (-15, 10)]:
        east = 466015.0 + math.cos(SLASHED_TURN) * x - math.sin(SLASHED_TURN) * y
        north = 5918010.0 + math.sin(SLASHED_TURN) * x + math.cos(SLASHED_TURN) * y
        corners.append([round(east, 3), round(north, 3)])
    text, found = re.subn(r"(?m)^corners = .*$", f"corners = {corners}", text)
    assert found == 1
    for old, new in [
        ('name = "first dig"', f"name = '''{STAGE}'''"),
        ('name = "six wells"', f'name = "{SCHEME}"'),
    ]:
        assert text.count(old) == 1
        text = text.replace(old, new)
    grid = "\n[grid]\nsublayer = 2.0\n"
    site.write_text(text + grid, encoding="utf-8")
    return site


@pytest.fixture(scope="session")
def slashed_run(tmp_path_factory: pytest.TempPathFactory) -> RunFolder:
    """The run; its first stage is called STAGE, its scheme SCHEME."""
    folder = tmp_path_factory.mktemp("turned")
    site = turned_site(folder / "site")
    done = run_scheme(site, out=folder / "runs", figures=False, side_studies=False)
    return RunFolder(done[0].folder)


@pytest.fixture(scope="session")
def slashed_results(slashed_run: RunFolder) -> list[StageResult]:
    return read_results(slashed_run)


@pytest.fixture(scope="session")
def slashed_layers(
    slashed_run: RunFolder,
    slashed_results: list[StageResult],
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """The folder of its GIS layers."""
    place = tmp_path_factory.mktemp("layers")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        written = write_layers(slashed_run, slashed_results, place)
    assert sorted(written) == sorted(place.iterdir())
    return place


@pytest.fixture(scope="session")
def run_in_feet(slashed_run: RunFolder) -> RunFolder:
    """The same run with a crs in US survey feet."""
    other = RunFolder(slashed_run.path)
    other.__dict__["ledger"] = replace(slashed_run.ledger, crs="EPSG:2263", metres_per_unit=US_FOOT)
    return other


@pytest.fixture(scope="session")
def layers_in_feet(
    run_in_feet: RunFolder,
    slashed_results: list[StageResult],
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """The folder of its GIS layers."""
    place = tmp_path_factory.mktemp("feet")
    write_layers(run_in_feet, slashed_results, place)
    return place
