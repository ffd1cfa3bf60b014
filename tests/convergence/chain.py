"""From a seed to solved stages with the tool's own chain, without figures, tables or reports."""

from __future__ import annotations

import os
import time
import warnings
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from site_generator import RandomSite, write_site

from wellring.inputs.basics.faults import SolverFailed
from wellring.inputs.read_site import Site, read_site
from wellring.model.layouts.layout import Fineness, lay_out
from wellring.model.mf6.solve import MASS_BALANCE_LIMIT
from wellring.model.runs.stages import SolvedStage, solve_scheme
from wellring.model.runs.transient import SolvedPhase, solve_in_time


@dataclass
class SiteOutcome:
    """What became of one random site; `failure` is "" when every stage was solved."""

    site: RandomSite
    read: Site
    cells: int
    stages: list[SolvedStage]
    folder: Path
    seconds: float
    failure: str = ""
    phases: list[SolvedPhase] = field(default_factory=list)

    @property
    def good(self) -> bool:
        """Whether stages and phases are solved and balanced, and all wells' limits met."""
        balances = [stage.solution.discrepancy for stage in self.stages]
        balances += [phase.discrepancy for phase in self.phases]
        settled = [stage.settled.settled for stage in self.stages if stage.settled is not None]
        closed = all(abs(balance) <= MASS_BALANCE_LIMIT for balance in balances)
        return not self.failure and closed and all(settled)

    @property
    def last_stage(self) -> Path:
        """Folder of the deepest stage's MODFLOW 6 files."""
        return self.folder / "mf6" / self.stages[-1].folder


def solve_site(
    seed: int,
    folder: Path,
    solver: Path,
    coarser: float,
    write: Callable[[int, Path], RandomSite] = write_site,
) -> SiteOutcome:
    """Write, read, lay out and solve the site of a seed."""
    began = time.perf_counter()
    random_site = write(seed, folder)
    site = read_site(folder / "site.toml")
    layout = lay_out(site, site.description.schemes[0], 0, Fineness(coarser))
    cells = int(layout.ground.active.sum())
    stages: list[SolvedStage] = []
    phases: list[SolvedPhase] = []
    failure = ""
    try:
        stages = solve_scheme(layout, folder / "mf6", solver)
        phases = solve_in_time(layout, stages, folder / "mf6", solver)
    except SolverFailed as error:
        failure = str(error)
    seconds = time.perf_counter() - began
    return SiteOutcome(random_site, site, cells, stages, folder, seconds, failure, phases)


def solve_all(solve: Callable[[int], SiteOutcome], seeds: Iterable[int]) -> Iterator[SiteOutcome]:
    """Outcomes in the order of their seeds, as many solved at a time as there are cores."""
    with ThreadPoolExecutor(os.cpu_count()) as pool, warnings.catch_warnings():
        warnings.simplefilter("error")  # in all threads: the filters are the process's
        yield from pool.map(solve, seeds)


def rung_counts(outcomes: Iterable[SiteOutcome]) -> dict[str, int]:
    """How many stages each rung solved last."""
    counts: dict[str, int] = {}
    for outcome in outcomes:
        for stage in outcome.stages:
            counts[stage.solution.rung] = counts.get(stage.solution.rung, 0) + 1
    return counts


def site_row(outcome: SiteOutcome) -> str:
    """One row of the table of sites (see :data:`SITE_HEAD`)."""
    site = outcome.site
    rungs = sorted({stage.solution.rung for stage in outcome.stages})
    worst = max((abs(stage.solution.discrepancy) for stage in outcome.stages), default=float("nan"))
    solves = sum(len(stage.attempts) for stage in outcome.stages)
    failed = sum(not a.answered for stage in outcome.stages for a in stage.attempts)
    settled = all(s.settled is None or s.settled.settled for s in outcome.stages)
    wells = f"{site.wells}" + ("" if settled else " (not settled)")
    result = outcome.failure or ", ".join(rungs)
    return (
        f"| {site.seed} | {site.shape} {site.size:.0f} m | {site.column.kh.size} | {site.wall} "
        f"| {wells} | {site.drawdown:.1f} | {outcome.cells} | {result} | {worst:.3f} "
        f"| {solves} | {failed} | {outcome.seconds:.0f} |"
    )


SITE_HEAD = (
    "| seed | pit | soils | wall | wells | drawdown m | cells | rungs | worst balance % "
    "| solves | failed | s |\n" + "| --- " * 12 + "|"
)


def scheme_row(outcome: SiteOutcome, mix: str) -> str:
    """One row of the table of schemes (see :data:`SCHEME_HEAD`)."""
    governing = Counter(
        drive.governing
        for stage in outcome.stages
        if stage.settled is not None
        for drive in stage.settled.drives
    )
    solves = sum(len(stage.attempts) for stage in outcome.stages)
    failed = sum(not a.answered for stage in outcome.stages for a in stage.attempts)
    worst = max((abs(stage.solution.discrepancy) for stage in outcome.stages), default=float("nan"))
    what = outcome.failure or ", ".join(f"{n} {name}" for name, n in governing.most_common())
    return (
        f"| {outcome.site.seed} | {mix} | {outcome.site.wall} | {outcome.site.drawdown:.1f} "
        f"| {outcome.cells} | {what} | {worst:.3f} | {solves} | {failed} | {outcome.seconds:.0f} |"
    )


SCHEME_HEAD = (
    "| seed | methods | wall | drawdown m | cells | points by governing limit | worst balance % "
    "| solves | failed | s |\n" + "| --- " * 10 + "|"
)
