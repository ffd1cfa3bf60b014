"""One site told twice: in metres, and in feet, US survey feet, gallons and pounds.

EPSG:32118 and EPSG:2263 are the same projection (NAD83 / New York Long Island) in metres and in
US survey feet (1200/3937 m): false easting 300 000 m there, 984 250 ft here (EPSG registry).
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wellring.inputs.read_site import Site, read_site
from wellring.model.layouts.layout import Layout, lay_out
from wellring.model.runs.run import run

SURVEY_FOOT = 1200 / 3937
FOOT = 0.3048
EAST, NORTH = 304_800.0, 60_960.0
"""Where the pit's first corner is moved to [m in EPSG:32118]."""

QUANTITIES = {
    "ground = 4.0 ": f'ground = "{4.0 / FOOT!r} ft" ',
    "base = -14.0": f'base = "{-14.0 / FOOT!r} ft"',
    'kh = "2e-4 m/s"': f'kh = "{2e-4 * 86400 / FOOT!r} ft/day"',
    'kv = "6e-5 m/s"': f'kv = "{6e-5 * 86400 / FOOT!r} ft/d"',
    'weight = "20 kN/m3"': f'weight = "{20 / 0.45359237 / 9.80665 * 1000 * FOOT**3!r} lbf/ft3"',
    "ss = 2e-5": f'ss = "{2e-5 * FOOT!r} 1/ft"',
    "level = 2.5 ": f'level = "{2.5 / FOOT!r} ft" ',
    "source_distance = 300.0": f'source_distance = "{300 / FOOT!r} ft"',
    "clearance = 0.5": f'clearance = "{0.5 / FOOT * 12!r} in"',
    "formation = 1.0": f'formation = "{1.0 / FOOT!r} ft"',
    "formation = -1.5": f'formation = "{-1.5 / FOOT!r} ft"',
    "toe = -6.0": f'toe = "{-6 / FOOT!r} ft"',
    "pile_width = 0.6": f'pile_width = "{0.6 / FOOT!r} ft"',
    "offset = -1.5": f'offset = "{-1.5 / FOOT!r} ft"',
    "screen = [-8.5, -1.0]": f'screen = ["{-8.5 / FOOT!r} ft", "{-1 / FOOT!r} ft"]',
    'diameter = "300 mm"': f'diameter = "{300 / 25.4!r} in"',
    "hold = -4.0": f'hold = "{-4 / FOOT!r} ft"',
    'capacity = "20 m3/h"': f'capacity = "{20 / 60 / 3.785411784e-3!r} gpm"',
    'show = "metric"': 'show = "us"',
}
GRID = '\n[grid]\ncell = 3\nsublayer = "2 m"\ngrowth = 1.8\n'


def _moved(text: str, unit: float) -> str:
    """Coordinates of the start site at the new place, in units of `unit` metres."""
    text = re.sub(
        r"\b(4659\d\d|4660\d\d)\.0", lambda m: repr((float(m[0]) - 466e3 + EAST) / unit), text
    )
    return re.sub(
        r"\b(59179\d\d|59180\d\d)\.0", lambda m: repr((float(m[0]) - 5918e3 + NORTH) / unit), text
    )


def _in_feet(text: str) -> str:
    for old, new in QUANTITIES.items():
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def _logs_in_feet(text: str) -> str:
    head, *rows = text.strip().split("\n")
    names = head.split(",")
    lengths = [
        i
        for i, name in enumerate(names)
        if name in ("ground", "final_depth") or name.endswith("_depth")
    ]
    out = [",".join(f"{name} [ft]" if i in lengths else name for i, name in enumerate(names))]
    for row in rows:
        cells = row.split(",")
        for i in lengths:
            cells[i] = repr(float(cells[i]) / FOOT)
        out.append(",".join(cells))
    return "\n".join(out) + "\n"


@pytest.fixture(scope="module")
def told_twice(start_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The site files in metres and in feet."""
    files = []
    for name, crs, unit in (("metres", "EPSG:32118", 1.0), ("feet", "EPSG:2263", SURVEY_FOOT)):
        folder = tmp_path_factory.mktemp(name)
        text = (start_folder / "site.toml").read_text().replace("EPSG:32633", crs)
        text = _moved(text, unit) + GRID
        logs = {f: (start_folder / f).read_text() for f in ("collars.csv", "layers.csv")}
        logs["collars.csv"] = _moved(logs["collars.csv"], unit)
        if name == "feet":
            text = _in_feet(text)
            logs = {file: _logs_in_feet(content) for file, content in logs.items()}
        (folder / "site.toml").write_text(text)
        for file, content in logs.items():
            (folder / file).write_text(content)
        files.append(folder / "site.toml")
    return files[0], files[1]


@pytest.fixture(scope="module")
def sites(told_twice: tuple[Path, Path]) -> tuple[Site, Site]:
    return read_site(told_twice[0]), read_site(told_twice[1])


@pytest.fixture(scope="module")
def layouts(sites: tuple[Site, Site]) -> tuple[Layout, Layout]:
    first, second = (lay_out(site, site.description.schemes[0]) for site in sites)
    return first, second


def _numbers(value: Any, skip: tuple[str, ...] = ()) -> dict[str, float]:
    """Every number in nested tables, by its place."""
    found: dict[str, float] = {}
    if isinstance(value, dict):
        items = [(str(key), item) for key, item in value.items() if key not in skip]
    elif isinstance(value, list | tuple):
        items = [(str(index), item) for index, item in enumerate(value)]
    else:
        return {"": float(value)} if isinstance(value, int | float) else {}
    for key, item in items:
        found |= {f"{key}.{place}".strip("."): n for place, n in _numbers(item, skip).items()}
    return found


def test_description_is_the_same(sites: tuple[Site, Site]) -> None:
    metres, feet = (
        _numbers(site.description.model_dump(), skip=("corners", "x", "y")) for site in sites
    )
    assert metres.keys() == feet.keys()
    assert len(metres) > 40
    assert list(feet.values()) == pytest.approx(list(metres.values()), rel=1e-12)


def test_places_are_the_same(sites: tuple[Site, Site]) -> None:
    metres, feet = sites
    assert metres.crs.metres_per_unit == 1.0
    assert feet.crs.metres_per_unit == pytest.approx(SURVEY_FOOT, rel=1e-15)
    assert np.allclose(
        np.array(feet.outline.exterior.coords),
        np.array(metres.outline.exterior.coords),
        rtol=0,
        atol=1e-8,
    )
    for one, other in zip(metres.logs.borings, feet.logs.borings, strict=True):
        assert (other.x, other.y) == pytest.approx((one.x, one.y), abs=1e-8)
        assert other.ground == pytest.approx(one.ground, abs=1e-9)


def test_grid_and_ground_are_the_same(layouts: tuple[Layout, Layout]) -> None:
    metres, feet = layouts
    assert np.allclose(feet.plan.x_edges, metres.plan.x_edges, rtol=0, atol=1e-8)
    assert np.allclose(feet.plan.y_edges, metres.plan.y_edges, rtol=0, atol=1e-8)
    assert np.array_equal(feet.ground.active, metres.ground.active)
    assert np.allclose(feet.ground.layers.edges, metres.ground.layers.edges, rtol=0, atol=1e-8)
    assert np.allclose(feet.ground.kh, metres.ground.kh, rtol=1e-9)
    assert np.allclose(feet.ground.kv, metres.ground.kv, rtol=1e-9)
    for one, other in zip(metres.points, feet.points, strict=True):
        assert (other.x, other.y) == pytest.approx((one.x, one.y), abs=1e-8)
        assert np.allclose(other.conductance, one.conductance, rtol=1e-6)


def test_answers_are_the_same(told_twice: tuple[Path, Path], solver: Any) -> None:
    """To a hundredth of a millimetre, or a hundred-thousandth of all else."""
    close = {"m": {"abs": 1e-5}}
    metres, feet = (
        run(file, solver=solver.path, figures=False, side_studies=False)[0].answers.answers
        for file in told_twice
    )
    assert metres.keys() == feet.keys()
    for name, answer in metres.items():
        assert feet[name].unit == answer.unit
        assert feet[name].ok == answer.ok
        if name != "mass_balance_error":
            near = close.get(answer.unit, {"rel": 1e-5, "abs": 1e-12})
            assert feet[name].value == pytest.approx(answer.value, **near), name
