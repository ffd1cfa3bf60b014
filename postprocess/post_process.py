"""From a solved run folder to answers.json, tables, GIS layers, figures and report.html."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from wellring.postprocess.answers import Answers, make_answers
from wellring.postprocess.not_written import NotWritten
from wellring.postprocess.report.report_page import REPORT_FILE
from wellring.postprocess.run.cell_files import CELL_FILES, write_cell_files
from wellring.postprocess.run.result_set import keep_others, result_set
from wellring.postprocess.run.run_folder import ANSWERS_FILE, RUN_FILE, RunFolder
from wellring.postprocess.run.tables import write_tables
from wellring.postprocess.stage_results import StageResult, read_results

LAYERS_FOLDER, FIGURES_FOLDER = "layers", "figures"


def post_process(
    run: RunFolder,
    *,
    figures: bool = True,
    cells: bool = False,
    say: Callable[[str], None] | None = None,
) -> Answers:
    """Assess a run and write its results, which replace those of before all at once.

    What a folder holds already it keeps: where the answers are no longer those that its report
    shows, report, figures and layers are written anew, asked for or not. A figure, layer or page
    that fails is named in `not_written` of the answers and of run.json; all else is written. What
    `provenance` of the run holds is written to run.json where it has changed.

    Parameters
    ----------
    figures : also draw figures, write GIS layers and the report.
    cells : also write every cell's soil and head, for other programs.
    """
    tell = say or (lambda text: None)
    tell("reading heads and flows")
    results = read_results(run)
    answers = make_answers(run, results)
    old = run.path / ANSWERS_FILE  # which may be damaged
    same = old.is_file() and old.read_text("utf-8", "replace") == answers.text()
    figures = figures or ((run.path / REPORT_FILE).is_file() and not same)
    failed = NotWritten()
    with result_set(run.path) as place:
        (place / ANSWERS_FILE).write_text(answers.text(), encoding="utf-8")
        write_tables(run, results, answers.parts, place)
        if cells:
            tell("writing all cells")
            with failed.item("files of all cells"):
                write_cell_files(run, place / LAYERS_FOLDER)
        if figures:
            _draw(run, results, answers, place, failed, tell)
        answers.not_written = failed.items
        _write_provenance(run, failed.items, place)
        # Of the same answers an old item serves in place of one that failed.
        others = None if not figures or (same and failed.items) else CELL_FILES
        keep_others(run.path / LAYERS_FOLDER, place / LAYERS_FOLDER, others)
        if same and failed.items:
            keep_others(run.path / FIGURES_FOLDER, place / FIGURES_FOLDER)
        page_is_old = figures and not same and not (place / REPORT_FILE).exists()
    if page_is_old:
        (run.path / REPORT_FILE).unlink(missing_ok=True)
    return answers


def _draw(
    run: RunFolder,
    results: list[StageResult],
    answers: Answers,
    place: Path,
    failed: NotWritten,
    tell: Callable[[str], None],
) -> None:
    from wellring.postprocess.figures import draw_figures
    from wellring.postprocess.gis.gis_layers import write_layers
    from wellring.postprocess.report.report import write_report

    tell("writing GIS layers")
    with failed.item("GIS layers"):
        write_layers(run, results, place / LAYERS_FOLDER, failed)
    tell("drawing figures")
    with failed.item("figures"):
        draw_figures(run, results, place / FIGURES_FOLDER, failed)
    tell("writing the report")
    answers.not_written = failed.items  # shown on the page
    with failed.item(REPORT_FILE):
        write_report(run, answers, place / REPORT_FILE)


def _write_provenance(run: RunFolder, not_written: list[str], place: Path) -> None:
    run.provenance.pop("not_written", None)
    if not_written:
        run.provenance["not_written"] = not_written
    if json.loads((run.path / RUN_FILE).read_text(encoding="utf-8")) != run.provenance:
        text = json.dumps(run.provenance, ensure_ascii=False, indent=1)
        (place / RUN_FILE).write_text(text, encoding="utf-8")
