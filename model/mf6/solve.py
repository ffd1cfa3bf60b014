"""Solve one written stage: climb the ladder until MODFLOW 6 answers, and prove the answer.

An answer counts when MODFLOW 6 ended normally and its own budget closes. Everything else is a
failed attempt, whose last lines are kept for the message.
"""

from __future__ import annotations

import re
import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.faults import SolverFailed, SolverMissing
from wellring.model.mf6.binary_arrays import write_array
from wellring.model.mf6.budget_errors import budget_error, worst_step_error
from wellring.model.mf6.build import MODEL
from wellring.model.mf6.child_process import start_child
from wellring.model.mf6.file_edits import full_layers, set_model_options
from wellring.model.mf6.held_signals import held_signals
from wellring.model.mf6.outer_record import going_nowhere, progress_line, ran_away
from wellring.model.mf6.process_end import ended
from wellring.model.mf6.rungs import (
    FULL,
    LADDER,
    POLISH,
    PSEUDO_TIME_STEPS,
    Rung,
    pseudo_storage_text,
    settings_text,
    time_text,
)
from wellring.model.mf6.solver_output import last_heads, spoilt
from wellring.model.mf6.time_steps import Stepping
from wellring.postprocess.run.answer import MASS_BALANCE_LIMIT
from wellring.postprocess.run.run_folder import BUDGET_CSV

Floats = NDArray[np.float64]

_CLOSED = 0.25 * MASS_BALANCE_LIMIT
"""Percent; an answer whose budget closes worse than this is solved on."""
_TIGHTER = ((1e-4, 1e-5), (1e-5, 1e-6), (1e-7, 1e-7))
"""Closures of solving on: flow in a cell as a share of the total inflow, head change [m].

In small steps: asked for more than it can give, MODFLOW 6 iterates in vain for minutes.
"""
_HEAD_CLOSURE = 1e-5
_FLOW_CLOSURE = 0.01
_ROUGHLY = (1.0, 1e-2)
"""Closures of the estimate with all layers full: flow in a cell [m³/day], head change [m]."""


@dataclass
class Attempt:
    """One run of the solver: the rung, whether it answered, why not, and its cost [s].

    One that `ended` normally without an answer is one whose budget does not close.
    """

    rung: str
    answered: bool
    why: str
    seconds: float
    discrepancy: float = float("nan")
    total_in: float = float("nan")
    ended: bool = False


@dataclass
class Solution:
    """A solved stage: heads (nlay, n) [m], how it was reached, budget error [%]."""

    heads: Floats
    rung: str
    discrepancy: float
    attempts: list[Attempt] = field(default_factory=list)

    @property
    def seconds(self) -> float:
        """Wall time spent in the solver [s]."""
        return sum(attempt.seconds for attempt in self.attempts)


Progress = Callable[[str], None]


def solve_stage(
    name: str,
    folder: Path,
    solver: Path,
    start: Floats,
    *,
    rungs: tuple[Rung, ...] = LADDER,
    first: str | None = None,
    progress: Progress | None = None,
    time_limit: float = 3600.0,
    record: list[Attempt] | None = None,
) -> Solution:
    """Solve the stage written in `folder`.

    Parameters
    ----------
    start : (nlay, nrow, ncol) start heads [m].
    first : rung to try first (one that worked for the same stage before).
    time_limit : wall seconds for one attempt.
    record : what to add the attempts to, also those of a stage without an answer.

    Raises
    ------
    SolverFailed : no rung answered; says why for the last one and keeps the files.
    """
    # Through pseudo-time one goes once: from the heads it gave, the plain ways are near enough.
    again = [rung for rung in rungs if rung.name == first and not rung.stepping]
    order = [*again, *(rung for rung in rungs if rung not in again)]
    attempts: list[Attempt] = []
    try:
        for rung in order:
            attempt = _try(rung, folder, solver, start, _FLOW_CLOSURE, name, progress, time_limit)
            attempts.append(attempt)
            if not attempt.ended:
                continue
            heads = read_heads(folder)
            if abs(attempt.discrepancy) > _CLOSED and np.isfinite(attempt.total_in):
                heads = _polish(
                    rung, folder, solver, heads, start, attempts, name, progress, time_limit
                )
            answered = [item for item in attempts if item.answered]
            if answered:
                return Solution(heads, rung.name, answered[-1].discrepancy, attempts)
    finally:
        if record is not None:
            record += attempts
    raise SolverFailed(name, f"{len(attempts)} ways tried; {attempts[-1].why}", folder)


def solve_full(
    name: str,
    folder: Path,
    solver: Path,
    start: Floats,
    progress: Progress | None = None,
    time_limit: float = 600.0,
) -> Floats | None:
    """Heads (nlay, nrow, ncol) [m] of the stage in `folder` with all its layers full of water.

    Without a water table the problem is nearly linear. None where even that has no answer.
    """
    with full_layers(folder):
        _set(folder, FULL, start, *_ROUGHLY)
        if run_solver(folder, solver, f"{name}, {FULL.name}", progress, time_limit):
            return None
        return None if spoilt(folder) else read_heads(folder)


def _polish(
    rung: Rung,
    folder: Path,
    solver: Path,
    heads: Floats,
    start: Floats,
    attempts: list[Attempt],
    name: str,
    progress: Progress | None,
    time_limit: float,
) -> Floats:
    """Close the budget of a small flow: solve on from the answer with tighter closures."""
    best = attempts[-1]
    kept = (rung, start, _FLOW_CLOSURE, _HEAD_CLOSURE)
    for share, head_closure in _TIGHTER:
        warm = np.where(np.abs(heads) < 1e20, heads, start)
        flow_closure = min(_FLOW_CLOSURE, share * max(best.total_in, 1e-8))
        before = best
        # An answer that stands as it is is not worth the slow way.
        for polish in POLISH[: 1 + (abs(best.discrepancy) > MASS_BALANCE_LIMIT)]:
            attempt = _try(
                polish, folder, solver, warm, flow_closure, name, progress, time_limit, head_closure
            )
            attempts.append(attempt)
            if abs(attempt.discrepancy) < abs(best.discrepancy):
                # Still water comes nearer from closure to closure before its budget closes.
                heads, best = read_heads(folder), attempt
                kept = (polish, warm, flow_closure, head_closure)
            if attempt.answered:
                break
        if attempt.answered and attempt is not best:
            attempt.answered = False
        elif best is before:
            break
        if abs(best.discrepancy) <= _CLOSED:
            return heads
    if best.answered and attempts[-1] is not best:
        # The tighter closure was not reached: the looser answer stands, with its files.
        again, begun, flow_closure, head_closure = kept
        attempts.append(
            _try(
                again, folder, solver, begun, flow_closure, name, progress, time_limit, head_closure
            )
        )
        heads = read_heads(folder)
    return heads


def _try(
    rung: Rung,
    folder: Path,
    solver: Path,
    start: Floats,
    flow_closure: float,
    name: str,
    progress: Progress | None,
    time_limit: float,
    head_closure: float = _HEAD_CLOSURE,
) -> Attempt:
    _set(folder, rung, start, flow_closure, head_closure)
    patience = 0 if rung.stepping else rung.patience
    return _judge(folder, solver, f"{name}, {rung.name}", rung, progress, time_limit, patience)


def attempt_in_time(
    rung: Rung,
    folder: Path,
    solver: Path,
    start: Floats,
    name: str,
    stepping: Stepping,
    progress: Progress | None,
    time_limit: float = 7200.0,
    *,
    closures: tuple[float, float],
) -> Attempt:
    """One attempt at a model followed in time; its budget error is that of the worst step.

    Parameters
    ----------
    start : (nlay, nrow, ncol) start heads [m].
    closures : flow left in a cell [m³/day] and head change [m] at which a step is solved.
    """
    _set(folder, rung, start, *closures)
    (folder / f"{MODEL}.tdis").write_text(stepping.periods)
    (folder / "steps.ats").write_text(stepping.steps)
    return _judge(
        folder, solver, f"{name}, {rung.name}", rung, progress, time_limit, until=stepping.days
    )


def _judge(
    folder: Path,
    solver: Path,
    label: str,
    rung: Rung,
    progress: Progress | None,
    time_limit: float,
    patience: int = 0,
    until: float | None = None,
) -> Attempt:
    """Run the solver on what is written and judge what it gave: the last budget, or every one.

    Parameters
    ----------
    until : days that a model followed in time goes to.
    """
    began = time.perf_counter()
    why = run_solver(folder, solver, label, progress, time_limit, patience, until)
    seconds = time.perf_counter() - began
    if why:
        return Attempt(rung.name, False, why, seconds)
    why = spoilt(folder)
    if why:
        return Attempt(rung.name, False, why, seconds)
    if until is not None:
        discrepancy, total = worst_step_error(folder / BUDGET_CSV)
    else:
        discrepancy, total = budget_error(folder / f"{MODEL}.lst")
    good = np.isfinite(discrepancy) and abs(discrepancy) < 1.0
    why = "" if good else f"its water budget does not close ({discrepancy:g} %)"
    return Attempt(rung.name, bool(good), why, seconds, discrepancy, total, True)


def _set(folder: Path, rung: Rung, start: Floats, flow_closure: float, head_closure: float) -> None:
    """Write what a rung changes: solver settings, time steps, options, start heads."""
    (folder / f"{MODEL}.ims").write_text(settings_text(rung, flow_closure, head_closure))
    (folder / f"{MODEL}.tdis").write_text(time_text(rung))
    set_model_options(folder, rung.newton_relaxed, rung.stepping)
    if rung.stepping:
        (folder / "pseudo_time.ats").write_text(PSEUDO_TIME_STEPS)
        (folder / "pseudo_time.sto").write_text(pseudo_storage_text())
    write_array(folder, "start", start)


def read_heads(folder: Path) -> Floats:
    """Heads of the last step (nlay, nrow, ncol) [m]; 1e30 in cells left out."""
    return last_heads(folder / f"{MODEL}.hds")


def run_solver(
    folder: Path,
    solver: Path,
    label: str,
    progress: Progress | None,
    time_limit: float,
    patience: int = 0,
    until: float | None = None,
) -> str:
    """Run MODFLOW 6 in `folder`; "" when it ended normally, else why not.

    One of a single step is also given up when, after `patience` iterations, it comes no nearer to
    an answer (0: never).

    Raises
    ------
    SolverMissing : it cannot be started.
    """
    for leftover in (f"{MODEL}.hds", f"{MODEL}.bud", "outer.csv", f"{MODEL}.lst", "mfsim.lst"):
        (folder / leftover).unlink(missing_ok=True)
    deadline = time.monotonic() + time_limit
    process: subprocess.Popen[bytes] | None = None
    with open(folder / "mf6.out", "wb") as output:
        try:
            with held_signals():
                process = _start(solver, folder, output)
            while not ended(process, 0.5):
                if time.monotonic() > deadline:
                    _end(process)
                    return f"stopped after {time_limit:.0f} s without an answer"
                if ran_away(folder) or (patience and going_nowhere(folder, patience)):
                    _end(process)
                    return f"it did not converge ({progress_line(folder)})"
                if progress is not None:
                    seconds = time_limit - (deadline - time.monotonic())
                    progress(f"{label}: {progress_line(folder, until, seconds)}")
        except BaseException:
            if process is not None:
                with held_signals():
                    _end(process)
            raise
    text = (folder / "mf6.out").read_text(errors="replace")
    if process.returncode == 0 and "Normal termination" in text:
        return ""
    return _reason(text, process.returncode, folder)


def _start(solver: Path, folder: Path, output: IO[bytes]) -> subprocess.Popen[bytes]:
    try:
        return start_child([str(solver)], folder, output)
    except OSError as error:
        raise SolverMissing(
            f"MODFLOW 6 could not be started any more: {solver}: {error.strerror or error}. It was "
            "there when the work began; `wellring solver` tells which one is used now"
        ) from error


def _end(process: subprocess.Popen[bytes]) -> None:
    process.kill()
    process.wait()


def _reason(output: str, code: int | None, folder: Path) -> str:
    """Why a run gave no answer, in one line."""
    if code is not None and code < 0:
        return f"it was killed by signal {-code}"
    # Warnings are numbered alike, and are told before the errors.
    errors = re.findall(r"^\s*\d+\. (.+)$", output.partition("ERROR REPORT")[2], flags=re.M)
    if errors and "convergence failure" in errors[0].lower():
        return f"it did not converge ({progress_line(folder)})"
    if errors:
        return f"it refused the input: {errors[0].strip()}"
    listing = folder / "mfsim.lst"
    if listing.exists() and "FAILED TO CONVERGE" in listing.read_text(errors="replace").upper():
        return f"it did not converge ({progress_line(folder)})"
    lines = [line.strip() for line in output.splitlines() if line.strip()]
    return f"it stopped with exit code {code}: {lines[-1] if lines else 'no output'}"
