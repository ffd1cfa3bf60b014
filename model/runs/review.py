"""A finished run checked again: its inputs' hashes, its post-processing, and the solver itself."""

from __future__ import annotations

import hashlib
import re
import shutil
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from wellring.inputs.basics.faults import SolverMissing
from wellring.model.mf6.budget_errors import budget_error
from wellring.model.mf6.build import MODEL
from wellring.model.mf6.solve import run_solver
from wellring.model.mf6.solver import Solver, find_solver
from wellring.postprocess.answers import make_answers
from wellring.postprocess.comparison.run_difference import read_answers
from wellring.postprocess.run.answer import MASS_BALANCE_LIMIT, Answer
from wellring.postprocess.run.ledger import PhaseEntry, StageEntry
from wellring.postprocess.run.run_folder import MODEL_FOLDER, RunFolder
from wellring.postprocess.stage_results import read_results

Say = Callable[[str], None]

HEAD_TOLERANCE = 5e-3
"""Largest difference of a head [m] that still counts as the same."""
TOLERANCES = {
    "length": (5e-3, 2e-3),
    "level": (5e-3, 0.0),
    "settlement": (1e-4, 2e-3),
    "flow": (0.0, 2e-3),
    "area": (1.0, 5e-3),
    "volume": (0.1, 2e-3),
    "percent": (0.2, 0.0),
}
"""By an answer's kind: difference in SI, and as a part of the value (of the stage's whole flow
where it is a flow), that still counts as the same; what closes the solver is smaller."""
OTHERS = (1e-9, 1e-2)
_NUMBER = re.compile(r"\d+(?:\.\d+)?")
TIME_LIMIT_S = 3600.0
_SOLVED = ("*.hds", "*.bud", "*.lst", "mf6.out", "outer.csv")


@dataclass
class Review:
    """What was checked: (what, whether it holds or None where it could not be, in words)."""

    checks: list[tuple[str, bool | None, str]] = field(default_factory=list)

    def add(self, what: str, holds: bool | None, told: str) -> None:
        """One more check."""
        self.checks.append((what, holds, told))

    @property
    def reproduces(self) -> bool:
        """Whether nothing that could be checked failed."""
        return all(holds is not False for _, holds, _ in self.checks)

    @property
    def tolerance(self) -> str:
        """The tolerances in words."""
        return (
            f"Tolerances: heads and levels {HEAD_TOLERANCE * 1e3:g} mm; flows 0.2 % of the "
            "stage's whole flow; lengths 5 mm and 0.2 %; settlement 0.1 mm and 0.2 %; areas 0.5 %."
        )

    @property
    def text(self) -> str:
        """For a terminal."""
        words = {True: "ok", False: "NOT OK", None: "not checked"}
        lines = [f"  {words[holds]:12} {what}: {told}" for what, holds, told in self.checks]
        verdict = (
            "The numbers reproduce."
            if self.reproduces and self.solved
            else "What could be checked holds; the solver was not run again."
            if self.reproduces
            else "The run does NOT reproduce."
        )
        return "\n".join(["Review", *lines, f"  {self.tolerance}", verdict, ""])

    @property
    def solved(self) -> bool:
        """Whether the solver was run again."""
        return any(what.startswith("solver") and holds for what, holds, _ in self.checks)


def verify(run: RunFolder, solver: str | Path | None = None, say: Say | None = None) -> Review:
    """Check a finished run again; the folder itself is not changed.

    Parameters
    ----------
    solver : MODFLOW 6 to use; otherwise it is looked for, but not fetched.
    say : gets one line of progress at a time.

    Raises
    ------
    SolverMissing : `solver` is no MODFLOW 6 that runs here.
    """
    tell = say or (lambda text: None)
    review = Review()
    _inputs(run, review)
    before = read_answers(run)
    tell("post-processing the stored heads again")
    again = make_answers(run, read_results(run)).answers
    _compare(review, "answers from the stored heads", before, again)
    try:
        found = find_solver(solver, fetch=False, say=tell)
    except SolverMissing as missing:
        if solver is not None:
            raise
        review.add("solver run again", None, str(missing).splitlines()[0])
        return review
    with tempfile.TemporaryDirectory(prefix="wellring-review-") as place:
        _solve_again(run, Path(place) / "run", found, before, review, tell)
    return review


def site_folder(run: RunFolder) -> Path | None:
    """Where the inputs lie: as run.json says, else beside the folder of runs; None if gone."""
    inputs = run.provenance["inputs"]
    places = [run.path / inputs["folder"]] if "folder" in inputs else []
    places += [run.path.absolute().parent.parent]
    names = [name for name in inputs["files"] if name.endswith(".toml")]
    for place in places:
        if any((place / name).is_file() for name in names):
            return place
    return None


def _inputs(run: RunFolder, review: Review) -> None:
    folder = site_folder(run)
    if folder is None:
        review.add("inputs", None, "the site file is not where it was when the run was made")
        return
    for name, wanted in run.provenance["inputs"]["files"].items():
        path = folder / name.split("#")[0]
        if not path.is_file():
            review.add(f"input {name}", None, "is no longer there")
            continue
        with open(path, "rb") as file:
            found = hashlib.file_digest(file, "sha256").hexdigest()
        same = found == wanted
        told = "unchanged" if same else f"changed since: {found[:12]}, not {wanted[:12]}"
        review.add(f"input {name}", same, told)


def _solve_again(
    run: RunFolder,
    copy: Path,
    solver: Solver,
    before: Mapping[str, Answer],
    review: Review,
    tell: Say,
) -> None:
    shutil.copytree(
        run.path, copy, ignore=shutil.ignore_patterns(*_SOLVED, "figures", "layers", "side")
    )
    recorded = run.provenance["solver"]
    same = solver.sha256 == recorded["sha256"]
    which = "the same executable" if same else f"the run was made with {recorded['version']}"
    mirror = RunFolder(copy)
    # A run that is seen with other soils or neighbours is compared as it is seen.
    for name in ("description", "provenance", "receptors"):
        if name in run.__dict__:
            mirror.__dict__[name] = run.__dict__[name]
    steps: list[StageEntry | PhaseEntry] = [*run.ledger.stages, *run.ledger.phases]
    for step in steps:
        folder = copy / MODEL_FOLDER / step.folder
        tell(f"{step.name}: solving again")
        why = run_solver(folder, solver.path, step.name, None, TIME_LIMIT_S)
        if why:
            review.add(f"solver, {step.name}", False, why)
            return
        percent, _ = budget_error(folder / f"{MODEL}.lst")
        if not abs(percent) <= MASS_BALANCE_LIMIT:
            review.add(f"mass balance, {step.name}", False, f"off by {percent:g} %")
    review.add("solver run again", True, f"MODFLOW 6 {solver.version}, {which}")
    found = [(stage.name, run.heads(stage), mirror.heads(stage)) for stage in run.ledger.stages]
    found += [
        (f"end of {phase.name}", run.heads_at_end(phase), mirror.heads_at_end(phase))
        for phase in run.ledger.phases
    ]
    for name, stored, fresh in found:
        alike = bool(np.array_equal(np.isfinite(stored), np.isfinite(fresh)))
        worst = float(np.nanmax(np.abs(stored - fresh), initial=0.0))
        told = f"largest difference {worst * 1e3:.3g} mm"
        review.add(f"heads, {name}", alike and worst <= HEAD_TOLERANCE, told)
    _compare(
        review, "answers solved again", before, make_answers(mirror, read_results(mirror)).answers
    )


def _compare(
    review: Review, what: str, before: Mapping[str, Answer], again: Mapping[str, Answer]
) -> None:
    """Every answer within its tolerance, and none missing."""
    off = [
        f"{before[name].label} {before[name].value!r} became {again[name].value!r}"
        for name in before
        if name in again and not _alike(name, before, again)
    ]
    off += [f"{before[name].label} is missing" for name in before if name not in again]
    if off:
        more = f" and {len(off) - 5} more" if len(off) > 5 else ""
        review.add(what, False, "; ".join(off[:5]) + more)
    else:
        review.add(what, True, f"all {len(before)} within tolerance")


def _alike(name: str, before: Mapping[str, Answer], again: Mapping[str, Answer]) -> bool:
    first, second = before[name].value, again[name].value
    if before[name].ok != again[name].ok:
        return False
    if isinstance(first, str) and isinstance(second, str):
        return _alike_text(first, second)
    if not isinstance(first, int | float) or not isinstance(second, int | float):
        return first == second
    part, share = TOLERANCES.get(before[name].kind, OTHERS)
    size = max(abs(first), abs(second))
    if before[name].kind == "flow":
        whole = before.get(f"{name.split('.')[0]}.inflow_total")
        if whole is not None and isinstance(whole.value, int | float):
            size = max(size, abs(whole.value))
    return abs(first - second) <= part + share * size


def _alike_text(first: str, second: str) -> bool:
    """Whether two sentences say the same, their numbers within 1 % or their last digit."""
    if _NUMBER.sub("#", first) != _NUMBER.sub("#", second):
        return False
    return all(
        abs(float(a) - float(b)) <= max(OTHERS[1] * abs(float(a)), 1.01 * 10.0 ** -_digits(a))
        for a, b in zip(_NUMBER.findall(first), _NUMBER.findall(second), strict=True)
    )


def _digits(number: str) -> int:
    return len(number.partition(".")[2])
