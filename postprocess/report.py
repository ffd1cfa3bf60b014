"""The report of a run: one HTML file that needs nothing else, for a screen and for paper.

What it shows is asked of the answers and their parts by name, so a new subject of assessment
appears without a change here. Templates, styles and scripts lie in ``templates/``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from wellring.inputs.units import shown
from wellring.postprocess.answer import Answer, Part, TimeSeries
from wellring.postprocess.answers import Answers
from wellring.postprocess.figures.cuts import pit_cuts
from wellring.postprocess.figures.style import plain
from wellring.postprocess.report_fields import plan_layers, shown_as
from wellring.postprocess.report_headlines import all_warnings, headlines
from wellring.postprocess.report_plan import plan_data
from wellring.postprocess.report_section import section_data
from wellring.postprocess.report_tables import PageTable, answer_table, csv_table, plain_table
from wellring.postprocess.run_folder import RunFolder
from wellring.postprocess.summary import CAUTION
from wellring.postprocess.tables import make_tables

REPORT_FILE = "report.html"
TEMPLATES = Path(__file__).parent / "templates"
SCRIPTS = ("data.js", "plan.js", "section.js", "curves.js", "tables.js", "page.js")
MOST_DAYS = 600
"""Points of a curve in the page at most; more are thinned evenly."""


@dataclass
class Subject:
    """A section of the report: one subject's answers, curves and tables."""

    title: str
    anchor: str
    tables: list[PageTable] = field(default_factory=list)
    series: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def write_report(
    run: RunFolder, answers: Answers, path: Path | None = None, extra: Sequence[Subject] = ()
) -> Path:
    """Write the report of a run.

    Parameters
    ----------
    answers : with the stages and parts that :func:`wellring.postprocess.answers.make_answers`
        found.
    path : where to; ``report.html`` in the run folder if None.
    extra : more sections, as of a review, shown after the answers.

    Returns
    -------
    The file written.
    """
    path = path or run.path / REPORT_FILE
    partial = path.with_name(f"{path.name}.partial")
    partial.write_text(make_report(run, answers, extra), encoding="utf-8")
    partial.replace(path)
    return path


def make_report(run: RunFolder, answers: Answers, extra: Sequence[Subject] = ()) -> str:
    """The report as text; parameters as :func:`write_report`."""
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    series: dict[str, Any] = {}
    subjects = _subjects(run, answers, series)
    page = environment.get_template("report.html")
    return page.render(
        run=run,
        ledger=run.ledger,
        title=plain(f"{run.ledger.site} — {run.ledger.scheme}", 120),
        site=plain(run.ledger.site, 90),
        scheme=plain(run.ledger.scheme, 90),
        notes=_notes(run),
        provenance=run.provenance,
        headlines=headlines(run, answers),
        all_ok=answers.all_ok,
        subjects=[*subjects, *extra],
        series={name: item["label"] for name, item in series.items()},
        warnings=[plain(text, 600) for text in all_warnings(answers)],
        assumptions=[plain(text, 700) for text in _assumptions(run, answers)],
        inputs=_inputs(run),
        checks=_checks(run, answers),
        caution=CAUTION,
        stages=[
            {
                "name": plain(stage.name),
                "formation": None
                if stage.formation is None
                else shown("level", run.ledger.show).text(stage.formation),
            }
            for stage in run.ledger.stages
        ],
        style=(TEMPLATES / "report.css").read_text("utf-8"),
        script="\n".join((TEMPLATES / name).read_text("utf-8") for name in SCRIPTS),
        data=_safe_json(_page_data(run, answers, series)),
    )


def _safe_json(content: Any) -> str:
    """JSON that may stand inside a script element: no letter of it can end or open one."""
    text = json.dumps(content, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    for letter in "<>&":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text


def _page_data(run: RunFolder, answers: Answers, series: dict[str, Any]) -> dict[str, Any]:
    cuts = pit_cuts(run)
    layers = plan_layers(run, answers.stages, answers.parts)
    return {
        "stages": [{"name": plain(s.name), "folder": s.folder} for s in run.ledger.stages],
        "plan": plan_data(run, answers.stages, answers.parts, layers, cuts),
        "section": section_data(run, answers.stages, cuts),
        "series": series,
    }


def _subjects(run: RunFolder, answers: Answers, series: dict[str, Any]) -> list[Subject]:
    """Water first, then each part in its order; `series` is filled with their curves."""
    tables = make_tables(run, answers.stages)
    of_parts = {name for part in answers.parts for name in part.answers}
    own = {name: a for name, a in answers.answers.items() if name not in of_parts}
    sure = {name: a for name, a in own.items() if name in _SURE}
    points = {name: a for name, a in own.items() if ".level." in name}
    water = {name: a for name, a in own.items() if name not in sure and name not in points}
    names = ("stages", "inflow", "inflow_by_layer", "wells", "water_balance")
    found = [
        _subject(run, "Water and dryness", [water], {name: tables[name] for name in names}),
    ]
    if points:
        found.append(_subject(run, "Water levels at your points", [points], {}))
    for number, part in enumerate(answers.parts):
        if part.answers or part.tables or part.series:
            found.append(_part(run, part, number, series))
    found.append(_subject(run, "How sure the numbers are", [sure], {}))
    return found


_SURE = (
    "mass_balance_error",
    "grid_error",
    "grid_error_level",
    "farther_source_inflow",
    "farther_source_level",
)


def _subject(
    run: RunFolder, title: str, groups: Sequence[Mapping[str, Answer]], tables: Mapping[str, Any]
) -> Subject:
    found = Subject(plain(title), _anchor(title))
    for answers in groups:
        table = answer_table(run, "answers", answers)
        if table is not None:
            found.tables.append(table)
    found.tables += [csv_table(run, name, table) for name, table in tables.items() if table[1]]
    return found


def _part(run: RunFolder, part: Part, number: int, series: dict[str, Any]) -> Subject:
    found = _subject(run, part.title, [part.answers], part.tables)
    for name, item in part.series.items():
        key = f"{number}-{name}"
        series[key] = _curves(run, item)
        found.series.append(key)
    return found


def _anchor(title: str) -> str:
    return "s-" + "".join(c if c.isascii() and c.isalnum() else "-" for c in title.lower())


def _curves(run: RunFolder, item: TimeSeries) -> dict[str, Any]:
    unit = shown_as(item.kind, run.ledger.show)
    step = max(1, int(np.ceil(len(item.day) / MOST_DAYS)))
    kept = np.unique(np.append(np.arange(0, len(item.day), step), len(item.day) - 1))
    return {
        "label": plain(item.label, 90),
        "unit": unit.unit,
        "digits": unit.digits,
        "day": [round(float(day), 4) for day in np.asarray(item.day)[kept]],
        "lines": [
            {
                "name": plain(name),
                "values": [
                    float(f"{v * unit.factor:.6g}") if np.isfinite(v) else None
                    for v in np.asarray(values, float)[kept]
                ],
            }
            for name, values in item.lines.items()
        ],
    }


def _notes(run: RunFolder) -> str:
    try:
        return plain(run.description.site.notes or "", 400)
    except OSError:  # folders of early versions hold no description
        return ""


def _assumptions(run: RunFolder, answers: Answers) -> list[str]:
    return list(dict.fromkeys([*run.provenance.get("assumptions", []), *answers.assumptions]))


def _inputs(run: RunFolder) -> PageTable:
    given = run.provenance.get("inputs", {}).get("files", {})
    return plain_table("inputs", ["File", "SHA-256"], sorted(given.items()))


def _checks(run: RunFolder, answers: Answers) -> PageTable:
    """Per stage: how it was solved, its mass balance, model and closed form side by side."""
    flow = shown("flow", run.ledger.show)
    rows = []
    for result in answers.stages:
        modelled, closed = result.inflow, result.estimate
        rows.append(
            [
                result.entry.name,
                result.entry.rung,
                f"{result.entry.discrepancy:.3g} %",
                flow.text(modelled.total) if modelled is not None else "",
                flow.text(closed.flow) if closed is not None else "",
                "; ".join(closed.differs) if closed is not None else "",
            ]
        )
    head = ["Stage", "Solved by", "Mass balance error", "Inflow, model", "Inflow, closed form"]
    return plain_table("checks", [*head, "Why the two differ"], rows)
