"""Sites for checks against published answers: written as files, run as a user would run them.

Every check writes a site file and boring logs, runs the whole way from them to a run folder, and
reads what it compares from that folder. The grid is the default one unless the check says why not.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wellring.model.runs.run import Run, run
from wellring.postprocess.run.heads import unit_head
from wellring.postprocess.run.ledger import WellEntry
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult, read_results
from wellring.postprocess.water.in_time import Course, follow

EAST, NORTH = 466000.0, 5918000.0
"""Site coordinates of the checks' own origin."""
FAR = 1.0e4
DAY = 86400.0

Point = tuple[float, float]


def shifted(points: Sequence[Point]) -> list[list[float]]:
    """Points of a check in site coordinates."""
    return [[EAST + x, NORTH + y] for x, y in points]


def toml(value: Any) -> str:
    """A TOML value: numbers, text, lists and inline tables."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {toml(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml(item) for item in value) + "]"
    return json.dumps(value if isinstance(value, str | bool) else float(value))


def table(heading: str, keys: Mapping[str, Any]) -> str:
    """One TOML table with its heading."""
    return "\n".join([heading, *(f"{key} = {toml(value)}" for key, value in keys.items()), ""])


@dataclass
class CheckSite:
    """A site with level layers, as a check describes it (SI; the checks' own origin).

    Parameters
    ----------
    ground : level of the ground [m].
    layers : (soil, bottom level) from the top down; the last bottom is the model's floor.
    soils : keys of each [soils.NAME]; sy, ss and weight are filled in.
    pit : corners of the excavation; nothing is dug where `formation` is the ground.
    strip : (y0, y1): impervious edges that cut a strip out of the plane.
    """

    ground: float
    layers: Sequence[tuple[str, float]]
    soils: Mapping[str, Mapping[str, Any]]
    level: float
    pit: Sequence[Point]
    source_distance: float
    formation: float | None = None
    edge: str = "fixed head"
    levels: Mapping[str, float] = field(default_factory=dict)
    """Levels of single aquifers, by soil."""
    strip: tuple[float, float] | None = None
    boundaries: list[dict[str, Any]] = field(default_factory=list)
    walls: list[dict[str, Any]] = field(default_factory=list)
    drainage: list[dict[str, Any]] = field(default_factory=list)
    points: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    """Named points: x, y and the level at which the head is asked."""
    time: Mapping[str, Any] | None = None
    stages: Sequence[Mapping[str, Any]] = ({"name": "dug"},)
    """Keys of each stage beside its formation."""
    grid: Mapping[str, Any] | None = None
    """Keys of [grid]; the default grid where left out."""
    operations: Mapping[str, Any] | None = None
    files: Mapping[str, str] = field(default_factory=dict)
    """Other files, by name."""

    @staticmethod
    def box(x0: float, x1: float, y0: float, y1: float) -> list[Point]:
        """Corners of a rectangle."""
        return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]

    @staticmethod
    def square(half: float) -> list[Point]:
        """Corners of a square about the origin."""
        return CheckSite.box(-half, half, -half, half)

    @staticmethod
    def source_from(half: float, radius: float) -> float:
        """Source distance that puts the source of a square pit on a circle about its centre.

        A curve at distance d from a convex outline of perimeter p lies d + p/2π from the middle
        on average (Cauchy), and far off the outline's corners no longer show.
        """
        return radius - 8 * half / (2 * np.pi)

    @staticmethod
    def leaky(
        depth: float,
        thick: float,
        roof: Mapping[str, float],
        sand: Mapping[str, float],
        rate: float,
        source_distance: float,
        **keys: Any,
    ) -> CheckSite:
        """A well at the origin in sand `thick` from `depth` down, leaky from above.

        Its cover is a roof of half a metre, as good as without storage, under water at a level
        that is held (all in m; `rate` in m³/s).
        """
        return CheckSite(
            ground=0.0,
            layers=[("top", 0.5 - depth), ("roof", -depth), ("sand", -depth - thick)],
            soils={"top": {"kh": 1e-3, "kv": 1e-3}, "roof": {**roof, "ss": 2e-9}, "sand": sand},
            level=-0.5,
            pit=CheckSite.square(5.0),
            source_distance=source_distance,
            boundaries=[
                {
                    "kind": "fixed_head",
                    "polygon": [(-9000, -9000), (9000, -9000), (9000, 9000), (-9000, 9000)],
                    "head": -0.5,
                    "soils": ["top"],
                }
            ],
            drainage=[
                {
                    "points": [(0, 0)],
                    "screen": [-depth - thick, -depth],
                    "diameter": 0.3,
                    "rate": rate,
                }
            ],
            **keys,
        )

    def write(self, folder: Path) -> Path:
        """Write site file and logs into `folder`; returns the site file."""
        x = [p[0] for p in self.pit]
        y = [p[1] for p in self.pit]
        cx, cy = EAST + 0.5 * (min(x) + max(x)), NORTH + 0.5 * (min(y) + max(y))
        floor = self.layers[-1][1]
        depth = self.ground - floor
        (folder / "collars.csv").write_text(
            f"id,x,y,ground,final_depth\nB1,{cx},{cy},{self.ground},{depth}\n"
        )
        rows = ["id,top_depth,bottom_depth,soil"]
        top = self.ground
        for soil, bottom in self.layers:
            rows.append(f"B1,{self.ground - top:.6f},{self.ground - bottom:.6f},{soil}")
            top = bottom
        (folder / "layers.csv").write_text("\n".join(rows) + "\n")
        for name, text in self.files.items():
            (folder / name).write_text(text, encoding="utf-8")
        path = folder / "site.toml"
        path.write_text("\n".join(self._tables(floor)), encoding="utf-8")
        return path

    def _tables(self, floor: float) -> list[str]:
        site = {
            "name": "Published check",
            "crs": "EPSG:32633",
            "ground": self.ground,
            "invented": True,
        }
        logs = {"files": ["collars.csv", "layers.csv"], "surfaces": "nearest", "base": floor}
        found = [table("[site]", site), table("[borings]", logs)]
        usual = {"sy": 0.2, "ss": 1e-5, "weight": "20 kN/m3"}
        found += [table(f"[soils.{name}]", {**usual, **keys}) for name, keys in self.soils.items()]
        water = {"level": self.level, "source_distance": self.source_distance, "edge": self.edge}
        water |= {"levels": self.levels} if self.levels else {}
        found.append(table("[water]", water))
        for boundary in [*self._edges(), *self.boundaries]:
            found.append(table("[[water.boundary]]", _moved(boundary)))
        pit = {"corners": shifted(self.pit), "clearance": 0.0}
        formation = self.ground if self.formation is None else self.formation
        found.append(table("[excavation]", pit))
        found += [
            table("[[excavation.stages]]", {"formation": formation, **stage})
            for stage in self.stages
        ]
        if self.grid is not None:
            found.append(table("[grid]", self.grid))
        if self.time is not None:
            found.append(table("[time]", self.time))
        if self.operations is not None:
            found.append(table("[operations]", self.operations))
        found += [table("[[walls]]", _moved(wall)) for wall in self.walls]
        if self.drainage:
            found.append(table("[[schemes]]", {"name": "wells"}))
            found += [
                table("[[schemes.drainage]]", {"method": "deep wells", **_moved(wells)})
                for wells in self.drainage
            ]
        for name, (x, y, level) in self.points.items():
            place = {"name": name, "x": EAST + x, "y": NORTH + y, "level": level}
            found.append(table("[[points]]", place))
        return found

    def _edges(self) -> list[dict[str, Any]]:
        if self.strip is None:
            return []
        return [{"kind": "no_flow", "line": [(-FAR, y), (FAR, y)]} for y in self.strip]


def _moved(keys: Mapping[str, Any]) -> dict[str, Any]:
    """Keys of a table with its geometry in site coordinates."""
    return {key: _placed(key, value) for key, value in keys.items()}


def _placed(key: str, value: Any) -> Any:
    if isinstance(value, Mapping):
        return _moved(value)
    places = key in ("line", "polygon", "points", "along") and not isinstance(value, str)
    return shifted(value) if places else value


@dataclass
class Solved:
    """A finished check, read from its run folder; stage 0 is before the work, −1 the dug one."""

    run: Run
    site: CheckSite

    @cached_property
    def folder(self) -> RunFolder:
        """The run folder."""
        return RunFolder(self.run.folder)

    @cached_property
    def results(self) -> list[StageResult]:
        """Every stage as post-processed."""
        return read_results(self.folder)

    @property
    def wells(self) -> list[WellEntry]:
        """The wells of the ledger."""
        return self.folder.ledger.wells

    def answer(self, name: str) -> float:
        """An answer of the dug stage by the end of its name, from answers.json."""
        answers = json.loads((self.run.folder / "answers.json").read_text(encoding="utf-8"))
        key = f"{self.results[-1].entry.folder}.{name}"
        return float(answers[key]["value"])

    @cached_property
    def course(self) -> Course:
        """The run followed in time."""
        found = follow(self.folder, self.results)
        assert found is not None
        return found

    def level_in_time(self, point: str, day: float) -> float:
        """Level [m] at a named point on a day, between steps straight over the log of time."""
        begun = self.course.day > 0
        day_of, level = self.course.day[begun], self.course.points[point][begun]
        return float(np.interp(np.log(day), np.log(day_of), level))

    def flow(self, boundary: int, stage: int = -1) -> float:
        """Net flow into the ground [m³/s] of the check's boundary of this index."""
        edges = 0 if self.site.strip is None else 2
        names = [
            entry.package
            for entry in self.folder.ledger.boundaries
            if entry.name.endswith(f" {boundary + edges + 1}")
        ]
        assert len(names) == 1
        return float(self.folder.package_flows(self.results[stage].entry, names[0])[1].sum())

    def unit_heads(self, soil: str, stage: int = -1) -> np.ndarray:
        """Heads (nrow, ncol) [m] of a soil, averaged over its saturated thickness."""
        index = [unit.soil for unit in self.folder.ledger.units].index(soil)
        result = self.results[stage]
        return unit_head(result.grid, result.heads, self.folder.unit, index).reshape(
            self.folder.plan_shape
        )

    def head(self, soil: str, x: float, y: float, stage: int = -1) -> float:
        """Head [m] of a soil at a point, bilinear between cell centres."""
        from scipy.interpolate import RegularGridInterpolator

        columns, rows = self.folder.local_centres
        local = self.folder.to_local(np.array([EAST + x]), np.array([NORTH + y]))
        table = RegularGridInterpolator((-rows, columns), self.unit_heads(soil, stage))
        return float(table((-local[1][0], local[0][0])))

    def ring_head(self, soil: str, r: float) -> float:
        """Head [m] of a soil at distance `r` from the origin."""
        return self.on_ring(self.unit_heads(soil), r)

    def potential(self, top: float) -> np.ndarray:
        """∫(h − z)dz (nrow, ncol) [m²] over what is wet below `top`: H²/2 for Dupuit's level H.

        Unlike heads near a well this does follow Dupuit's formula in space (Charny 1951).
        """
        grid, heads = self.results[-1].grid, self.results[-1].heads
        with np.errstate(invalid="ignore"):
            wet = np.clip(np.minimum(np.minimum(heads, grid.top), top) - grid.bottom, 0, None)
        wet = np.where(grid.active, wet, 0.0)
        depth = np.where(wet > 0, (heads - grid.bottom - 0.5 * wet) * wet, 0.0).sum(axis=0)
        return depth.reshape(self.folder.plan_shape)

    def on_ring(self, field: np.ndarray, r: float) -> float:
        """A field (nrow, ncol) at distance `r` from the origin, linear in ln r between centres.

        Mean of the four directions of the grid, along the row and the column at the origin.
        """
        x, y = self.folder.centres
        distance = np.hypot(x - EAST, y - NORTH).reshape(field.shape)
        row, column = np.unravel_index(int(np.argmin(distance)), field.shape)
        arms = [
            (distance[row, column + 1 :], field[row, column + 1 :]),
            (distance[row, :column][::-1], field[row, :column][::-1]),
            (distance[row + 1 :, column], field[row + 1 :, column]),
            (distance[:row, column][::-1], field[:row, column][::-1]),
        ]
        found = []
        for far, values in arms:
            there = np.isfinite(values)
            found.append(np.interp(np.log(r), np.log(far[there]), values[there]))
        return float(np.mean(found))


@pytest.fixture
def solve(tmp_path: Path, record_property: Callable[[str, object], None]) -> Callable[..., Solved]:
    """Write a check's site, run it whole, and give what was solved."""

    def solved(site: CheckSite) -> Solved:
        (done,) = run(site.write(tmp_path), figures=False, side_studies=False)
        found = Solved(done, site)
        record_property("cells", found.folder.provenance["cells"])
        record_property("rung", [stage.entry.rung for stage in found.results])
        return found

    return solved


@pytest.fixture
def check_site() -> type[CheckSite]:
    """The description of a check's site."""
    return CheckSite


@pytest.fixture
def within(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Compare with a published value within a tolerance in percent, and keep the error."""

    def compare(what: str, got: float, expected: float, percent: float) -> None:
        error = 100 * (got / expected - 1)
        told = tuple(float(value) for value in (expected, got, error, percent))
        request.node.user_properties.append((what, told))  # plain: they go between processes
        assert abs(error) <= percent, (
            f"{what}: {got:.6g} against the published {expected:.6g}: {error:+.2f} %, "
            f"allowed ±{percent:g} %"
        )

    return compare


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """The table of all published checks: expected, got, error."""
    rows = []
    for outcome in ("passed", "failed"):
        for report in terminalreporter.getreports(outcome):
            if getattr(report, "when", "") != "call":
                continue
            name = report.nodeid.partition("published/")[2]
            seen = dict(report.user_properties)
            for what, value in report.user_properties:
                if isinstance(value, tuple | list) and len(value) == 4:
                    expected, got, error, percent = value
                    flag = "" if abs(error) <= percent else "  OUTSIDE"
                    rows.append(
                        f"{name:58.58} {what:34.34} {expected:12.6g} {got:12.6g} {error:+7.2f} % "
                        f"of ±{percent:g}{flag}  {seen.get('cells', '')} cells"
                        f" {report.duration:.0f} s"
                    )
    if rows and terminalreporter.verbosity > 0:
        terminalreporter.section("published checks: expected, got, error")
        for row in sorted(rows):
            terminalreporter.write_line(row)
