"""Many variants of a site: solved in parallel, kept as they come, taken up again after a kill."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Callable, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wellring.inputs.basics.faults import InputFaults
from wellring.inputs.basics.toml_text import load_toml
from wellring.inputs.measured.observations import Observation
from wellring.inputs.read_site import Site, read_site
from wellring.inputs.site.site import Time
from wellring.model.mf6.solver import find_solver
from wellring.model.runs.result_folders import process_alive
from wellring.model.runs.run import schemes_of
from wellring.model.studies.base_case import BaseCase, prepare
from wellring.model.studies.variants import Outcome, Variant, VariantStore
from wellring.model.studies.workers import make_crew

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas

Say = Callable[[str], None]


@dataclass
class Study:
    """A base case, where its variants' answers are kept, and who solves them.

    Parameters
    ----------
    workers, cluster, processes : see :func:`wellring.model.studies.workers.make_crew`.
    """

    base: BaseCase
    store: VariantStore
    folder: Path
    workers: int | None = None
    cluster: str | None = None
    processes: bool | None = None
    say: Say = field(default=lambda text: None)

    def solve(self, variants: Sequence[Variant], again: bool = False) -> Progress:
        """Solve all variants that are not there yet, and keep each as it comes.

        Parameters
        ----------
        again : also try again those that failed before.

        Raises
        ------
        InputFaults : a variant changes what is not in the site file, or names no scheme of the
            study; nothing is solved then.
        """
        wanted = list({v.key(self.store.base_hash): v for v in variants}.values())
        self._check(wanted)
        if again:
            for variant in wanted:
                if self.store.has(variant) and self.store.outcome(variant).failed:
                    self.store.drop(variant)
        missing = [variant for variant in wanted if not self.store.has(variant)]
        progress = Progress(len(wanted), len(wanted) - len(missing))
        if not missing:
            return progress
        self.say(progress.text())
        with _work_folder(self.folder) as work:
            crew = make_crew(self.base, work, self.workers, self.cluster, self.processes)
            progress.workers, progress.kind = crew.workers, crew.kind
            try:
                for variant, outcome in crew.solve(missing):
                    self.store.put(variant, outcome)
                    progress.add(outcome)
                    self.say(progress.text())
            except KeyboardInterrupt:
                raise KeyboardInterrupt(progress.kept_text(self.store.folder)) from None
            finally:
                crew.close()
        return progress

    def _check(self, variants: Sequence[Variant]) -> None:
        faults = self.base.site.fault_log()
        for path in dict.fromkeys(path for v in variants for path in v.overrides):
            try:
                self.base.keys(path)
            except InputFaults as found:
                faults.faults += found.faults
        for scheme in dict.fromkeys(v.scheme for v in variants):
            if scheme not in self.base.schemes:
                known = ", ".join(self.base.schemes)
                faults.add(self.base.site.file.name, "scheme", scheme, f"one of: {known}")
        faults.raise_if_any()

    def outcomes(self, variants: Sequence[Variant]) -> list[Outcome]:
        """What became of each variant, in order, without fields."""
        return [self.store.outcome(variant) for variant in variants]

    def values(self, variants: Sequence[Variant], names: Sequence[str]) -> Any:
        """Answers (variants, names) as numbers; NaN where a variant failed or has none."""
        import numpy as np

        found = np.full((len(variants), len(names)), np.nan)
        for row, outcome in enumerate(self.outcomes(variants)):
            for column, name in enumerate(names):
                value = outcome.answers.get(name, {}).get("value")
                if isinstance(value, int | float) and not isinstance(value, bool):
                    found[row, column] = value
        return found

    def frame(self, variants: Sequence[Variant]) -> pandas.DataFrame:
        """One row a variant: what was changed, whether it failed, and all answers that are numbers.

        Answers are in SI, their unit in the heading ("01-dig.inflow_total [m3/s]").
        """
        from wellring.model.studies.frames import variants_frame

        return variants_frame(variants, self.outcomes(variants))


@dataclass
class Progress:
    """How far a study is, and how long it may still take."""

    wanted: int
    there: int
    solved: int = 0
    failed: int = 0
    workers: int = 0
    kind: str = ""
    solver_seconds: float = 0.0
    began: float = field(default_factory=time.perf_counter)

    @property
    def seconds(self) -> float:
        """Wall time since the first was begun [s]."""
        return time.perf_counter() - self.began

    def add(self, outcome: Outcome) -> None:
        """Count one more."""
        self.solved += 1
        self.failed += bool(outcome.failed)
        self.solver_seconds += outcome.solver_seconds

    def kept_text(self, folder: Path) -> str:
        """What a study that is stopped leaves, in one sentence."""
        return (
            f"{self.there + self.solved} of {self.wanted} variants are kept in {folder}: the same "
            "command goes on from there."
        )

    def text(self) -> str:
        """In one line, with the time left once some are done."""
        done = self.there + self.solved
        told = [f"variant {done} of {self.wanted}"]
        if self.there and not self.solved:
            told.append(f"{self.there} were there before")
        if self.failed:
            told.append(f"{self.failed} without an answer")
        if self.solved and done < self.wanted:
            left = self.seconds / self.solved * (self.wanted - done)
            told.append(f"about {duration(left)} left")
        return ", ".join(told)


def duration(seconds: float) -> str:
    """A duration in words, coarse as such an estimate is."""
    if seconds < 90:
        return f"{max(1, round(seconds))} s"
    if seconds < 5400:
        return f"{round(seconds / 60)} min"
    return f"{seconds / 3600:.1f} h"


@contextmanager
def _work_folder(folder: Path) -> Iterator[Path]:
    """A folder for files of variants at work; those of dead studies are cleared away."""
    for left in folder.glob(".work-*"):
        owner = left.name.rpartition("-")[2]
        if owner.isdigit() and not process_alive(int(owner)):
            shutil.rmtree(left, ignore_errors=True)
    own = folder / f".work-{os.getpid()}"
    own.mkdir(parents=True, exist_ok=True)
    try:
        yield own
    finally:
        shutil.rmtree(own, ignore_errors=True)


def open_study(
    site_file: str | Path | tuple[Site, dict[str, Any]],
    folder: str | Path,
    *,
    scheme: str | tuple[str, ...] | None = None,
    solver: str | Path | None = None,
    workers: int | None = None,
    cluster: str | None = None,
    processes: bool | None = None,
    say: Say | None = None,
    time: Time | None = None,
    observations: tuple[Observation, ...] = (),
) -> Study:
    """Read a site, solve its base case (or take it over) and get ready for variants.

    Parameters
    ----------
    site_file : its path, or what :func:`read_with_tables` read of it.
    folder : where everything of the study is kept; a killed study is taken up from it.
    scheme : only the scheme of this name, or those of several; None for all of the site.
    time : how variants are followed in time; steady states alone where None.
    observations : what every variant is asked beside its answers.

    Raises
    ------
    InputFaults, SolverMissing, SolverFailed : see :mod:`wellring.inputs.basics.faults`.
    """
    site, tables = site_file if isinstance(site_file, tuple) else read_with_tables(site_file)
    tell = say or (lambda text: None)
    found = find_solver(solver, say=tell)
    place = Path(folder)
    place.mkdir(parents=True, exist_ok=True)
    site = replace(site, description=site.description.model_copy(update={"time": time}))
    tables.pop("time", None)
    if time is not None:
        tables["time"] = time.model_dump(exclude_none=True)
    chosen = schemes_of(site, scheme if isinstance(scheme, str) else None)
    if isinstance(scheme, tuple):
        chosen = [item for item in chosen if item[1].name in scheme]
    base = prepare(site, tables, chosen, found, place / "base", tell, observations)
    store = VariantStore(place / "variants", base.hash)
    return Study(base, store, place, workers, cluster, processes, tell)


def read_with_tables(site_file: str | Path) -> tuple[Site, dict[str, Any]]:
    """A site and the tables of its file, as variants need both.

    Raises
    ------
    InputFaults : as :func:`wellring.inputs.read_site.read_site`.
    """
    site = read_site(site_file)
    faults = site.fault_log()
    loaded = load_toml(Path(site_file), faults)
    faults.raise_if_any()
    assert loaded is not None
    return site, loaded[0]
