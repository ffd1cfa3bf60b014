"""A finished run that stands in a folder: of which inputs it is, and what it holds already.

No command makes a finished run poorer. One of the same inputs, scheme and programs is used again;
a new one of the same inputs gets whatever the old one has.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from wellring.inputs.basics.faults import InputFaults
from wellring.inputs.read_site import Site
from wellring.model.mf6.solver import Solver
from wellring.model.runs.own_version import own_version
from wellring.model.runs.readable_run import check_readable
from wellring.postprocess.post_process import LAYERS_FOLDER
from wellring.postprocess.report.report_page import REPORT_FILE
from wellring.postprocess.run.cell_files import CELLS_FILE
from wellring.postprocess.run.run_folder import RunFolder


@dataclass(frozen=True)
class Held:
    """What a run folder holds beside its answers."""

    figures: bool = False
    side_studies: bool = False
    cells: bool = False


def held_by(folder: Path, site: Site, scheme: str) -> Held:
    """What a finished run of these inputs and this scheme holds; nothing if there is none."""
    run = RunFolder(folder)
    if not _of_inputs(run, site, scheme):
        return Held()
    return Held(
        (folder / REPORT_FILE).is_file(),
        bool(run.provenance.get("side_studies")),
        (folder / LAYERS_FOLDER / CELLS_FILE).is_file(),
    )


def usable_run(
    folders: Iterable[Path], site: Site, scheme: str, solver: Solver, side_studies: bool = False
) -> RunFolder | None:
    """The first whole run that the same inputs, wellring and MODFLOW 6 would give again.

    Parameters
    ----------
    side_studies : whether the run must have its side studies.
    """
    for folder in folders:
        run = RunFolder(folder)
        if not _of_inputs(run, site, scheme):
            continue
        if side_studies and not run.provenance.get("side_studies"):
            continue
        made_by = run.provenance.get("wellring"), run.provenance.get("solver", {}).get("sha256")
        # Answers by other soils or neighbours ("reassessed") are not those of these inputs.
        if made_by != (own_version(), solver.sha256) or "reassessed" in run.provenance:
            continue
        try:
            check_readable(run, answers=True)
        except InputFaults:
            continue
        return run
    return None


def _of_inputs(run: RunFolder, site: Site, scheme: str) -> bool:
    try:
        told = run.provenance
        return (
            told["finished"] is True
            and told["scheme"] == scheme
            and told["inputs"]["sha256"] == site.sha256
        )
    except (OSError, ValueError, KeyError, TypeError):
        return False
