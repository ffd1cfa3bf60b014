"""Those who solve variants: threads or processes of this machine, or a Dask cluster.

All have one interface, :class:`Crew`. A worker starts MODFLOW 6 as a process of its own, so that
threads keep every core in the solver; processes pay where there are many cores, because the work
around the solver (a twentieth to a tenth) holds Python's lock in one process. On one machine one
variant more than there are workers is at work, so that no core idles while a variant is written,
read or post-processed, or while the end of its solver has yet to be noticed.
"""

from __future__ import annotations

import os
import tempfile
import threading
from collections.abc import Iterable, Iterator
from concurrent.futures import (
    FIRST_COMPLETED,
    Executor,
    Future,
    ProcessPoolExecutor,
    ThreadPoolExecutor,
    wait,
)
from itertools import count, islice
from pathlib import Path
from typing import Any, Protocol

from wellring.inputs.basics.faults import FaultLog, WellringError
from wellring.model.mf6.child_process import end_with_parent
from wellring.model.studies.base_case import BaseCase
from wellring.model.studies.solve_variant import solve_variant
from wellring.model.studies.variants import Outcome, Variant

MANY_CORES = 4
"""Workers beyond which processes are used in place of threads."""


class Stopped(Exception):
    """The study was stopped while this variant was at work."""


class Crew(Protocol):
    """Whoever solves variants."""

    workers: int
    kind: str

    def solve(self, variants: Iterable[Variant]) -> Iterator[tuple[Variant, Outcome]]:
        """Solve variants, each pair as it comes; only a few are waiting at any time."""
        ...

    def close(self) -> None:
        """Stop what is at work and let go of the workers."""
        ...


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def make_crew(
    base: BaseCase,
    work: Path,
    workers: int | None = None,
    cluster: str | None = None,
    processes: bool | None = None,
) -> Crew:
    """The workers of a study.

    Parameters
    ----------
    work : folder for the files of variants at work on this machine.
    workers : how many (default: one a core); for a cluster all it has.
    cluster : address of a running Dask scheduler ("tcp://host:8786").
    processes : processes in place of threads (default: beyond four workers).

    Raises
    ------
    InputFaults : there is no cluster at that address, or `distributed` is not installed.
    """
    if cluster is not None:
        from wellring.model.studies.cluster import ClusterCrew

        return ClusterCrew(base, cluster)
    number = workers or cores()
    apart = number > MANY_CORES if processes is None else processes
    return ProcessCrew(base, work, number) if apart else ThreadCrew(base, work, number)


_MORE_AT_WORK = 1
"""Variants at work beside one a core."""


class _LocalCrew:
    kind = ""

    def __init__(self, work: Path, workers: int, executor: Executor):
        self.work, self.workers, self.executor = work, workers, executor
        self.number = count()

    def _submit(self, variant: Variant) -> Future[Outcome]:
        raise TypeError("a crew submits in its own way")

    def solve(self, variants: Iterable[Variant]) -> Iterator[tuple[Variant, Outcome]]:
        """Solve variants with at most one waiting beside those at work."""
        waiting = iter(variants)
        at_work: dict[Future[Outcome], Variant] = {}

        def fill(most: int) -> None:
            for variant in islice(waiting, max(0, most)):
                at_work[self._submit(variant)] = variant

        fill(self.workers + _MORE_AT_WORK + 1)
        while at_work:
            done, _ = wait(at_work, return_when=FIRST_COMPLETED)
            fill(len(done))
            for future in done:
                yield at_work.pop(future), future.result()

    def close(self) -> None:
        """Stop the workers; what is at work is given up."""
        self.executor.shutdown(wait=True, cancel_futures=True)


class ThreadCrew(_LocalCrew):
    """Threads of this process, each of which starts the solver."""

    kind = "threads"

    def __init__(self, base: BaseCase, work: Path, workers: int):
        super().__init__(work, workers, ThreadPoolExecutor(workers + _MORE_AT_WORK))
        self.base = base
        self.stop = threading.Event()

    def _submit(self, variant: Variant) -> Future[Outcome]:
        place = self.work / f"{next(self.number):06d}"
        return self.executor.submit(solve_variant, self.base, variant, place, self._told)

    def _told(self, text: str) -> None:
        if self.stop.is_set():
            raise Stopped

    def close(self) -> None:
        """Stop the solvers at work."""
        self.stop.set()
        super().close()


class ProcessCrew(_LocalCrew):
    """Processes of this machine, each with the base case of its own."""

    kind = "processes"

    def __init__(self, base: BaseCase, work: Path, workers: int):
        import multiprocessing

        executor = ProcessPoolExecutor(
            workers + _MORE_AT_WORK,
            mp_context=multiprocessing.get_context("spawn"),
            initializer=_take_base,
            initargs=(base,),
        )
        super().__init__(work, workers, executor)

    def _submit(self, variant: Variant) -> Future[Outcome]:
        place = self.work / f"{next(self.number):06d}"
        return self.executor.submit(_solve_with_base, variant, place)

    def close(self) -> None:
        """Stop the processes at work."""
        processes = list((getattr(self.executor, "_processes", None) or {}).values())
        self.executor.shutdown(wait=False, cancel_futures=True)
        for process in processes:
            process.terminate()
        for process in processes:
            process.join()


_OWN: dict[str, Any] = {}


def _take_base(base: BaseCase) -> None:
    """In a worker: keep the base case, and end on SIGTERM without a word, or with the study."""
    import signal

    end_with_parent()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C goes to the study, which ends us
    signal.signal(signal.SIGTERM, lambda *_: _leave())
    _OWN["base"] = base


def _leave() -> None:
    raise SystemExit(143)


def _solve_with_base(variant: Variant, work: Path) -> Outcome:
    return solve_variant(_OWN["base"], variant, work)


def solve_far_away(base: BaseCase, variant: Variant) -> Outcome:
    """Solve a variant on another machine, in a temporary folder, with the same MODFLOW 6."""
    from dataclasses import replace

    from wellring.model.mf6.solver import find_solver

    solver = base.solver
    if not solver.path.is_file():
        try:
            solver = find_solver(say=lambda text: None)
        except WellringError as error:
            return Outcome(failed=f"on a worker: {error}")
    else:
        solver = find_solver(solver.path, say=lambda text: None)
    if solver.sha256 != base.solver.sha256:
        return Outcome(
            failed=f"a worker has another MODFLOW 6 ({solver.version}, {solver.sha256[:12]}) than "
            f"the study ({base.solver.version}, {base.solver.sha256[:12]}): install the same"
        )
    base = replace(base, solver=solver)
    with tempfile.TemporaryDirectory(prefix="wellring-") as folder:
        return solve_variant(base, variant, Path(folder) / "variant")


def no_cluster(address: str, why: str) -> None:
    """Raise the fault of a cluster that is not there."""
    faults = FaultLog()
    faults.add("the command", "--cluster", address, "the address of a running Dask scheduler", why)
    faults.raise_if_any()
