"""A real run for the tests of what is written from runs: a turned pit, names that are awkward."""

import math
import re
import shutil
import warnings
from dataclasses import replace
from pathlib import Path

import pytest

from wellring.model.run import run as run_scheme
from wellring.postprocess.answers import StageResult, read_results
from wellring.postprocess.gis_layers import write_layers
from wellring.postprocess.run_folder import RunFolder

START = Path(__file__).resolve().parents[2] / "model" / "start"
TURN = math.radians(23.0)
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
        east = 466015.0 + math.cos(TURN) * x - math.sin(TURN) * y
        north = 5918010.0 + math.sin(TURN) * x + math.cos(TURN) * y
        corners.append([round(east, 3), round(north, 3)])
    text, found = re.subn(r"(?m)^corners = .*$", f"corners = {corners}", text)
    assert found == 1
    for old, new in [
        ('name = "first dig"', f"name = '''{STAGE}'''"),
        ('name = "six wells"', f'name = "{SCHEME}"'),
    ]:
        assert text.count(old) == 1
        text = text.replace(old, new)
    site.write_text(text, encoding="utf-8")
    return site


@pytest.fixture(scope="session")
def turned_run(tmp_path_factory: pytest.TempPathFactory) -> RunFolder:
    """The run; its first stage is called STAGE, its scheme SCHEME."""
    folder = tmp_path_factory.mktemp("turned")
    site = turned_site(folder / "site")
    done = run_scheme(site, out=folder / "runs", figures=False, side_studies=False)
    return RunFolder(done[0].folder)


@pytest.fixture(scope="session")
def turned_results(turned_run: RunFolder) -> list[StageResult]:
    return read_results(turned_run)


@pytest.fixture(scope="session")
def turned_layers(
    turned_run: RunFolder,
    turned_results: list[StageResult],
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """The folder of its GIS layers."""
    place = tmp_path_factory.mktemp("layers")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        written = write_layers(turned_run, turned_results, place)
    assert sorted(written) == sorted(place.iterdir())
    return place


@pytest.fixture(scope="session")
def run_in_feet(turned_run: RunFolder) -> RunFolder:
    """The same run with a crs in US survey feet."""
    other = RunFolder(turned_run.path)
    other.__dict__["ledger"] = replace(turned_run.ledger, crs="EPSG:2263", metres_per_unit=US_FOOT)
    return other


@pytest.fixture(scope="session")
def layers_in_feet(
    run_in_feet: RunFolder,
    turned_results: list[StageResult],
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """The folder of its GIS layers."""
    place = tmp_path_factory.mktemp("feet")
    write_layers(run_in_feet, turned_results, place)
    return place
