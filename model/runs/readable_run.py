"""Whether a finished run can still be read: copies get cut short, disks fail, files get lost."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.geodata.receptors import RECEPTORS_FILE
from wellring.model.mf6.solver_output import spoilt_file
from wellring.postprocess.run.run_folder import (
    ANSWERS_FILE,
    BUDGET_CSV,
    DESCRIPTION_FILE,
    GROUND_FILE,
    MODEL_FOLDER,
    RUN_FILE,
    WELLS_CSV,
    RunFolder,
)

_WHAT_TO_DO = "Copy the folder again from where it is whole, or run the site again."


def check_readable(run: RunFolder, answers: bool = False) -> None:
    """Look through all that post-processing reads of a finished run.

    Parameters
    ----------
    answers : its answers are read too, not only made anew.

    Raises
    ------
    InputFaults : files are missing, cut short or hold something else; names all of them.
    """
    run.ledger  # noqa: B018  (raises by itself)
    faults = FaultLog()
    for name, check in {
        RUN_FILE: lambda: run.provenance["stages"],
        DESCRIPTION_FILE: lambda: run.description,
        GROUND_FILE: lambda: _ground(run),
        RECEPTORS_FILE: lambda: run.receptors,
        **({ANSWERS_FILE: lambda: _answers(run.path / ANSWERS_FILE)} if answers else {}),
    }.items():
        _try(check, run.path, name, "a whole file as the run wrote it", faults)
    models = [stage.folder for stage in run.ledger.stages]
    for model in [*models, *(phase.folder for phase in run.ledger.phases)]:
        name, why = spoilt_file(run.path / MODEL_FOLDER / model, listing=False)
        place = f"{MODEL_FOLDER}/{model}/{name}"
        if name:
            faults.add(run.path, place, None, f"what MODFLOW 6 wrote, but {why}", _WHAT_TO_DO)
    for phase in run.ledger.phases:
        for name in (BUDGET_CSV, WELLS_CSV) if phase.points else (BUDGET_CSV,):
            place = f"{MODEL_FOLDER}/{phase.folder}/{name}"
            _try(partial(_table, run.path / place), run.path, place, "a whole table", faults)
    faults.raise_if_any()


def _try(
    check: Callable[[], object], folder: Path, place: str, expected: str, faults: FaultLog
) -> None:
    try:
        check()
    except (OSError, ValueError, LookupError, TypeError, EOFError, zipfile.BadZipFile) as error:
        faults.add(folder, place, None, expected, f"{_WHAT_TO_DO} ({type(error).__name__})")


def _ground(run: RunFolder) -> None:
    cells = run.plan_shape[0] * run.plan_shape[1]
    if run.unit.ndim != 2 or run.unit.shape[1] != cells:
        raise ValueError("cells")


def _answers(path: Path) -> None:
    found = json.loads(path.read_text(encoding="utf-8"))
    if not isinstance(found, dict) or not all("value" in entry for entry in found.values()):
        raise ValueError("answers")


def _table(path: Path) -> None:
    head, *rows = path.read_text(encoding="ascii").splitlines() or [""]
    values = [[float(value) for value in row.split(",")] for row in rows]
    if not values or any(len(row) != head.count(",") + 1 for row in values):
        raise ValueError("columns")
    if not np.isfinite(values).all():
        raise ValueError("numbers")
