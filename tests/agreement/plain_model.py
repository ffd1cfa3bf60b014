"""The same site as a plain flopy script: cell by cell, from numbers that the test itself gives.

Only the cells' geometry is taken from the finished run (its binary grid file and which unit a cell
is of). Everything else (which cells take part, conductivities, the distant edge, river, rain,
walls, seepage into the pit, wells) is worked out here once more, in loops and with text input.
"""

from __future__ import annotations

import math
import subprocess
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import flopy
import numpy as np
import shapely

DAY = 86400.0

Cell = tuple[int, int, int]


@dataclass
class PlainModel:
    """One steady stage; lengths in m, times in days inside, k given in m/s."""

    grid: Any
    unit: Any
    pit: shapely.Polygon
    source: float
    level: float
    k: Mapping[int, tuple[float, float]]
    formation: float | None
    packages: dict[str, list[list[Any]]] = field(default_factory=lambda: defaultdict(list))

    def __post_init__(self) -> None:
        nlay, nrow, ncol = self.grid.nlay, self.grid.nrow, self.grid.ncol
        self.shape = (nlay, nrow, ncol)
        self.top = np.vstack([self.grid.top.reshape(1, nrow, ncol), self.grid.botm[:-1]])
        self.bottom = self.grid.botm
        self.x = np.cumsum(self.grid.delr) - 0.5 * self.grid.delr
        self.y = self.grid.delc.sum() - np.cumsum(self.grid.delc) + 0.5 * self.grid.delc
        self.away = np.array(
            [[self.pit.distance(shapely.Point(x, y)) for x in self.x] for y in self.y]
        )
        self.in_pit = np.array(
            [[self.pit.contains(shapely.Point(x, y)) for x in self.x] for y in self.y]
        )
        self.active = (self.top - self.bottom > 1e-9) & (self.away < self.source)[None]
        self.dug = np.zeros(self.shape, bool)
        if self.formation is not None:
            middle = 0.5 * (self.top + self.bottom)
            self.dug = self.active & self.in_pit[None] & (middle > self.formation)
        self.ground = self.active.copy()
        self.active &= ~self.dug

    def kh(self, cell: Cell) -> float:
        return self.k[int(self.unit[cell])][0] * DAY

    def kv(self, cell: Cell) -> float:
        return self.k[int(self.unit[cell])][1] * DAY

    def sides(self, row: int, column: int) -> list[tuple[int, int, float, float, float]]:
        """Neighbours in plan: row, column, width of the face, half lengths here and there."""
        found = []
        dr, dc = self.grid.delr, self.grid.delc
        for r, c in ((row, column - 1), (row, column + 1)):
            if 0 <= c < self.shape[2]:
                found.append((r, c, dc[row], 0.5 * dr[column], 0.5 * dr[c]))
        for r, c in ((row - 1, column), (row + 1, column)):
            if 0 <= r < self.shape[1]:
                found.append((r, c, dr[column], 0.5 * dc[row], 0.5 * dc[r]))
        return found

    def distant_edge(self) -> None:
        """The level held where the source distance lies between two centres."""
        for row, column in zip(*np.nonzero(self.away < self.source), strict=True):
            for r, c, width, here, there in self.sides(row, column):
                if self.away[r, c] < self.source:
                    continue
                share = (self.source - self.away[row, column]) / (
                    self.away[r, c] - self.away[row, column]
                )
                length = min(max(share, 0.05), 1.0) * (here + there)
                for layer in range(self.shape[0]):
                    cell = (layer, row, column)
                    wet = min(self.level, self.top[cell]) - self.bottom[cell]
                    if self.active[cell] and wet > 1e-3:
                        conductance = self.kh(cell) * wet * width / length
                        self.packages["ghb"].append([cell, self.level, conductance])

    def floor_and_faces(self, wall: Callable[[float], float]) -> None:
        """Seepage through the pit's floor and sides; `wall` is the resistance [day] at a level."""
        nlay = self.shape[0]
        for row, column in zip(*np.nonzero(self.in_pit), strict=True):
            under = next(layer for layer in range(nlay) if self.active[layer, row, column])
            cell = (under, row, column)
            thick = self.top[cell] - self.bottom[cell]
            area = self.grid.delr[column] * self.grid.delc[row]
            conductance = self.kv(cell) * area / (0.5 * thick)
            level = max(min(self.top[cell], self.formation), self.bottom[cell] + 0.01 * thick)
            self.packages["drn"].append([cell, level, conductance, 0.0])
            for r, c, width, _, there in self.sides(row, column):
                if self.in_pit[r, c]:
                    continue
                for layer in range(nlay):
                    if not self.dug[layer, row, column]:
                        continue
                    cell = (layer, r, c)
                    thick = self.top[cell] - self.bottom[cell]
                    middle = 0.5 * (self.top[cell] + self.bottom[cell])
                    resistance = there / self.kh(cell) + wall(middle)
                    conductance = thick * width / resistance
                    if wall(middle) > 0.0:
                        row_of = [cell, middle, conductance, 0.0]
                    else:
                        row_of = [cell, self.bottom[cell] + 0.01 * thick, conductance, 0.98 * thick]
                    self.packages["drn"].append(row_of)

    def wall_below(self, toe: float, leakage: float) -> None:
        """Barriers around the pit in the ground that still stands, down to the toe."""
        for row, column in zip(*np.nonzero(self.in_pit), strict=True):
            for r, c, *_ in self.sides(row, column):
                if self.in_pit[r, c]:
                    continue
                for layer in range(self.shape[0]):
                    a, b = (layer, row, column), (layer, r, c)
                    middle = 0.5 * (self.top[a] + self.bottom[a])
                    if self.active[a] and self.active[b] and middle > toe:
                        self.packages["hfb"].append([a, b, leakage * DAY])

    def river(self, line: shapely.LineString, width: float, stage: float, bed: float) -> None:
        """A river without a bed level: exchange both ways, half a cell under its bed."""
        x = np.concatenate([[0.0], np.cumsum(self.grid.delr)])
        y = self.grid.delc.sum() - np.concatenate([[0.0], np.cumsum(self.grid.delc)])
        for row in range(self.shape[1]):
            for column in range(self.shape[2]):
                box = shapely.box(x[column], y[row + 1], x[column + 1], y[row])
                wetted = min(line.intersection(box).length * width, box.area)
                if wetted == 0.0:
                    continue
                for layer in range(self.shape[0]):
                    cell = (layer, row, column)
                    if self.ground[cell] and self.bottom[cell] < stage - 0.01:
                        half = 0.5 * (self.top[cell] - self.bottom[cell]) / self.kv(cell)
                        conductance = wetted / (1.0 / (bed * DAY) + half)
                        if self.active[cell]:
                            self.packages["ghb"].append([cell, stage, conductance])
                        break

    def well(self, x: float, y: float, screen: tuple[float, float], radius: float, **drive: float):
        """A well of several layers with Peaceman's conductances; `rate` [m³/s] or `held` [m]."""
        column = int(np.argmin(np.abs(self.x - x)))
        row = int(np.argmin(np.abs(self.y - y)))
        equivalent = 0.14 * math.hypot(self.grid.delr[column], self.grid.delc[row])
        number = len(self.packages["wells"])
        rows = []
        for layer in range(self.shape[0]):
            cell = (layer, row, column)
            middle = 0.5 * (self.top[cell] + self.bottom[cell])
            if self.ground[cell] and screen[0] < middle < screen[1]:
                thick = self.top[cell] - self.bottom[cell]
                conductance = 2 * math.pi * self.kh(cell) * thick / math.log(equivalent / radius)
                rows.append([number, len(rows), cell, screen[1], screen[0], conductance, radius])
        begins = drive.get("held", self.level)
        self.packages["wells"].append([number, radius, screen[0], begins, "SPECIFIED", len(rows)])
        self.packages["screens"] += rows
        if "held" in drive:
            self.packages["driven"] += [(number, "status", "constant")]
            self.packages["driven"] += [(number, "well_head", drive["held"])]
        else:
            self.packages["driven"] += [(number, "rate", -drive["rate"] * DAY)]

    def solve(self, folder: Path, solver: Path, start: Any, rain: float = 0.0) -> Solved:
        """Write everything as text, solve it to the last digits, and read it back."""
        sim = flopy.mf6.MFSimulation(sim_name="plain", sim_ws=str(folder), exe_name=str(solver))
        flopy.mf6.ModflowTdis(sim, time_units="days")
        gwf = flopy.mf6.ModflowGwf(sim, modelname="plain", newtonoptions="newton", save_flows=True)
        tight_settings(sim)
        nlay, nrow, ncol = self.shape
        above = np.cumsum(self.active, axis=0) > 0
        below = np.cumsum(self.active[::-1], axis=0)[::-1] > 0
        kinds = np.where(self.active, 1, np.where((self.top <= self.bottom) & above & below, -1, 0))
        flopy.mf6.ModflowGwfdis(
            gwf, nlay=nlay, nrow=nrow, ncol=ncol, delr=self.grid.delr, delc=self.grid.delc,
            top=self.top[0], botm=self.bottom, idomain=kinds,
        )  # fmt: skip
        kh, kv = (
            np.vectorize(lambda unit, which=which: self.k[int(unit)][which] * DAY)(self.unit)
            for which in (0, 1)
        )
        flopy.mf6.ModflowGwfnpf(gwf, icelltype=1, k=kh, k33=kv)
        flopy.mf6.ModflowGwfic(gwf, strt=start)
        lists = self.packages
        if lists["ghb"]:
            flopy.mf6.ModflowGwfghb(gwf, stress_period_data=lists["ghb"])
        if lists["drn"]:
            flopy.mf6.ModflowGwfdrn(
                gwf, stress_period_data=lists["drn"], auxiliary=["depth"], auxdepthname="depth"
            )
        if lists["hfb"]:
            flopy.mf6.ModflowGwfhfb(gwf, stress_period_data=lists["hfb"], maxhfb=len(lists["hfb"]))
        if rain:
            standing = self.active.any(axis=0)
            flopy.mf6.ModflowGwfrcha(gwf, recharge=np.where(standing, rain * DAY, 0.0))
        if lists["wells"]:
            flopy.mf6.ModflowGwfmaw(
                gwf, no_well_storage=True, nmawwells=len(lists["wells"]),
                packagedata=lists["wells"], connectiondata=lists["screens"],
                perioddata=lists["driven"],
            )  # fmt: skip
        flopy.mf6.ModflowGwfoc(
            gwf, head_filerecord="plain.hds", budget_filerecord="plain.bud",
            saverecord=[("HEAD", "LAST"), ("BUDGET", "LAST")],
        )  # fmt: skip
        sim.write_simulation(silent=True)
        subprocess.run([str(solver)], cwd=folder, check=True, capture_output=True)
        return read_solved(folder, "plain", self.active)


def tight_settings(sim: Any) -> None:
    """Settings under which two models of one matrix must give one answer."""
    flopy.mf6.ModflowIms(
        sim, no_ptcrecord="all", outer_maximum=400, outer_dvclose=1e-10, inner_maximum=500,
        inner_dvclose=1e-11, rcloserecord=[1e-7, "strict"], linear_acceleration="bicgstab",
        under_relaxation="dbd", under_relaxation_theta=0.7, under_relaxation_kappa=0.1,
    )  # fmt: skip


@dataclass(frozen=True)
class Solved:
    """Heads [m] of the cells that take part, and the flow into the model by kind [m³/day]."""

    heads: Any
    flows: dict[str, float]


def read_solved(folder: Path, name: str, active: Any) -> Solved:
    """What a folder's heads and budget files hold."""
    with flopy.utils.HeadFile(str(folder / f"{name}.hds"), precision="double") as file:
        heads = file.get_alldata()[-1]
    flows: dict[str, float] = defaultdict(float)
    with flopy.utils.CellBudgetFile(str(folder / f"{name}.bud"), precision="double") as file:
        for kind in file.get_unique_record_names(decode=True):
            if kind.strip() in ("GHB", "DRN", "RCHA", "MAW"):
                for part in file.get_data(text=kind.strip()):
                    flows[kind.strip()] += float(part["q"].sum())
    return Solved(heads[active], dict(flows))
