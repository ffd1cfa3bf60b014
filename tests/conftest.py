"""What many tests share: the solver, a finished run of the start site, and plain sites."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

# A process for each core is at work: threads of a linear algebra library, one for each core in
# each process, wait for one another. Read when numpy and scipy are loaded, here and in children.
for variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(variable, "1")

import numpy as np
import pytest

from wellring.model.grid.ground import Ground, SoilValues, make_ground
from wellring.model.grid.layers import make_layers
from wellring.model.grid.plan_grid import PlanGrid
from wellring.model.mf6.solver import find_solver
from wellring.model.runs.run import Run, run
from wellring.model.start_site import start_site

EAST, NORTH = 466000.0, 5918000.0
"""Where plain sites lie [m]; their own origin."""


@pytest.fixture(scope="session")
def solver() -> Path:
    """The MODFLOW 6 executable."""
    return find_solver().path


@pytest.fixture(scope="session")
def start_run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """One whole run of the start site with its side studies. Read it, never write into it.

    On coarse cells: what its tests look at is the same on any grid.
    """
    site = start_site(tmp_path_factory.mktemp("start") / "site")
    with site.open("a", encoding="utf-8") as file:
        file.write("\n[grid]\ncell = 2\nsublayer = 2\ngrowth = 1.6\nlargest = 60\n")
    (finished,) = run(site, figures=False, side_studies=True)
    return finished


@pytest.fixture
def start_copy(start_run: Run, tmp_path: Path) -> Path:
    """A copy of the run of the start site that a test may change."""
    return Path(shutil.copytree(start_run.folder, tmp_path / "run"))


def _table(heading: str, keys: Mapping[str, Any]) -> str:
    return "\n".join([heading, *(f"{key} = {_toml(value)}" for key, value in keys.items()), ""])


def _toml(value: Any) -> str:
    if isinstance(value, Mapping):
        keys = {key if key.isidentifier() else json.dumps(key): key for key in value}
        return "{ " + ", ".join(f"{key} = {_toml(value[old])}" for key, old in keys.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return json.dumps(value)


@pytest.fixture(scope="session")
def plain_site() -> Callable[..., Path]:
    """Write a site with level layers; every place is given from the pit's own origin."""

    def write(
        folder: Path,
        *,
        pit: Sequence[tuple[float, float]] = ((0, 0), (20, 0), (20, 12), (0, 12)),
        ground: float = 0.0,
        layers: Sequence[tuple[str, float]] = (("sand", -12.0),),
        soils: Mapping[str, tuple[float, float]] | None = None,
        level: float = -1.0,
        formations: Sequence[float] = (-4.0,),
        clearance: float = 0.5,
        source: float = 60.0,
        cell: float | None = 2.0,
        sublayer: float | None = 1.0,
        grid: Mapping[str, Any] | None = None,
        water: Mapping[str, Any] | None = None,
        boundaries: Sequence[Mapping[str, Any]] = (),
        walls: Sequence[Mapping[str, Any]] = (),
        drainage: Sequence[Mapping[str, Any]] = (),
        points: Mapping[str, tuple[float, float]] | None = None,
    ) -> Path:
        folder.mkdir(parents=True, exist_ok=True)
        depth = ground - layers[-1][1]
        x, y = (float(np.mean([p[i] for p in pit])) for i in (0, 1))
        (folder / "collars.csv").write_text(
            f"id,x,y,ground,final_depth\nB1,{EAST + x},{NORTH + y},{ground},{depth}\n"
        )
        rows, top = ["id,top_depth,bottom_depth,soil"], ground
        for soil, bottom in layers:
            rows.append(f"B1,{ground - top:.4f},{ground - bottom:.4f},{soil}")
            top = bottom
        (folder / "layers.csv").write_text("\n".join(rows) + "\n")
        choices = {"cell": cell, "sublayer": sublayer, **(grid or {})}
        text = [
            _table(
                "[site]",
                {"name": "Plain", "crs": "EPSG:32633", "ground": ground, "invented": True},
            ),
            _table(
                "[borings]",
                {
                    "files": ["collars.csv", "layers.csv"],
                    "surfaces": "nearest",
                    "base": layers[-1][1],
                },
            ),
            *(
                _table(f'[soils."{name}"]', {"kh": kh, "kv": kv, "sy": 0.2, "ss": 1e-5})
                for name, (kh, kv) in (soils or {"sand": (1e-4, 1e-4)}).items()
            ),
            _table("[water]", {"level": level, "source_distance": source, **(water or {})}),
            *(_table("[[water.boundary]]", _moved(item)) for item in boundaries),
            _table("[excavation]", {"corners": _shifted(pit), "clearance": clearance}),
            *(
                _table("[[excavation.stages]]", {"name": f"dig {i + 1}", "formation": formation})
                for i, formation in enumerate(formations)
            ),
            *(_table("[[walls]]", _moved(wall)) for wall in walls),
            _table("[grid]", {k: v for k, v in choices.items() if v is not None}),
            *(
                _table("[[points]]", {"name": name, "x": EAST + x, "y": NORTH + y})
                for name, (x, y) in (points or {}).items()
            ),
        ]
        if drainage:
            text.append(_table("[[schemes]]", {"name": "scheme"}))
            text += [
                _table("[[schemes.drainage]]", {"method": "deep wells", **_moved(item)})
                for item in drainage
            ]
        path = folder / "site.toml"
        path.write_text("\n".join(text), encoding="utf-8")
        return path

    return write


@pytest.fixture(scope="session")
def beside_pit() -> Callable[..., None]:
    """Write a layer of one shape beside a site file; its place is given from the pit's second
    corner: one point, or the corners of an area."""

    def write(site: Path, file: str, place: Sequence[tuple[float, float]], **told: Any) -> None:
        text = site.read_text(encoding="utf-8")
        x, y = json.loads(text.split("corners = ")[1].splitlines()[0])[1]
        at = [[x + east, y + north] for east, north in place]
        shape = (
            {"type": "Point", "coordinates": at[0]}
            if len(at) == 1
            else {"type": "Polygon", "coordinates": [[*at, at[0]]]}
        )
        layer = {
            "type": "FeatureCollection",
            "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}},
            "features": [{"type": "Feature", "properties": told, "geometry": shape}],
        }
        site.with_name(file).write_text(json.dumps(layer), encoding="utf-8")

    return write


def _shifted(places: Sequence[tuple[float, float]]) -> list[list[float]]:
    return [[EAST + float(x), NORTH + float(y)] for x, y in places]


def _moved(keys: Mapping[str, Any]) -> dict[str, Any]:
    places = ("line", "polygon", "points")
    return {
        key: _shifted(value) if key in places and not isinstance(value, str) else value
        for key, value in keys.items()
    }


@pytest.fixture(scope="session")
def block() -> Callable[..., tuple[PlanGrid, Ground]]:
    """A block of ground in level layers on a grid of given widths (rows from the north)."""

    def made(
        delr: Sequence[float],
        delc: Sequence[float],
        levels: Sequence[float],
        k: float | Sequence[float] = 1e-4,
        kv: float | Sequence[float] | None = None,
        planes: Sequence[float] = (),
        rotation: float = 0.0,
        origin: tuple[float, float] = (0.0, 0.0),
    ) -> tuple[PlanGrid, Ground]:
        x = np.concatenate([[0.0], np.cumsum(delr)])
        y = np.concatenate([[0.0], np.cumsum(delc[::-1])])[::-1]
        grid = PlanGrid(x, y, origin, rotation)
        n = grid.area.size
        count = len(levels) - 1
        kh = np.broadcast_to(np.asarray(k, float), count)
        down = kh if kv is None else np.broadcast_to(np.asarray(kv, float), count)
        values = {
            f"soil {i}": SoilValues(float(kh[i]), float(down[i]), 1e-5, 0.2, 2e4)
            for i in range(count)
        }
        layers = make_layers(
            np.tile(np.asarray(levels, float)[:, None], (1, n)),
            np.sort(np.asarray(planes, float)),
            np.ones(len(planes), bool),
        )
        ground = make_ground(layers, tuple(values), values, grid.area.ravel(), np.ones(n, bool))
        return grid, ground

    return made
