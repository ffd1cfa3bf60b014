"""The report of a fit: measured against computed, fitted values, what is foretold, what next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.measured.observations import KINDS
from wellring.model.studies.frames import answer_names
from wellring.model.studies.match.match_tables import (
    headlines,
    parameter_table,
    residual_table,
    root_mean_square,
    trigger_table,
)
from wellring.model.studies.study_basis import basis_of
from wellring.postprocess.neighbours.chances import Chance
from wellring.postprocess.report.report_page import Page
from wellring.postprocess.report.report_sections import Sections, Subject
from wellring.postprocess.report_headlines import NO, WATCH, YES, Headline
from wellring.postprocess.run.answer import Curves, Part, Spans
from wellring.postprocess.water.measured import BAND, CAUTIONS

if TYPE_CHECKING:
    import pandas

    from wellring.model.studies.match.matched import Matched
    from wellring.postprocess.run.answer import Table

ENDS = (f"{(1 - BAND) / 2:.0%} of the cases", f"{(1 + BAND) / 2:.0%} of the cases")


def match_page(done: Matched) -> Page:
    """The fit as a page."""
    site = done.study.base.site
    sections = Sections(site.description.site.show, {})
    parts = [_measured(done), _fitted(done), _foretold(done)]
    lead = [sections.part(part, unfolded=2) for part in parts if part.series or part.spans]
    if done.triggers:
        table = {"to_be_measured": _table(trigger_table(done))}
        lead.append(sections.subject("To be measured next", tables=table))
    notes = [f"{number}. {text}" for number, text in enumerate(done.advice, 1)]
    lead.append(Subject("What to do next", "s-next", notes=notes))
    counted = sum(item.fitted for item in done.rows)
    return Page(
        kind="the model fitted to what was measured",
        about=[("Scheme", done.scheme)]
        + ([("Foretold", done.predicted)] if done.predicted != done.scheme else []),
        told=f"{len(done.parameters)} values fitted to {counted} measurements.",
        headlines=_headlines(done),
        warnings=done.warnings,
        lead=lead,
        charts=sections.charts,
        method=[
            "Weighted least squares by Gauss, Newton and Levenberg with the real solver; "
            "intervals from the sensitivities at the end of the fit, and cases drawn from them, "
            f"each solved as a run of its own. Measurements: {done.source['file']}, SHA-256 "
            f"{done.source['sha256']}.",
        ],
        cautions=list(CAUTIONS),
        **basis_of(done.study, done.scheme),
    )


def _headlines(done: Matched) -> list[Headline]:
    rms = root_mean_square(done)
    outside = [r for r in done.readings if not r.inside]
    text = (
        f"Residuals are {rms:.2f} times the measurements' errors (root mean square); "
        f"{len(outside)} of {len(done.readings)} readings lie outside their band of {BAND:.0%}."
    )
    found = [Headline("Does the model fit?", YES if rms < 2 else NO, text, "weighted residuals")]
    values = [
        f"{item.path} {value:.3g} ({low:.3g} to {high:.3g}; the file has {item.start:.3g})"
        for item, value, (low, high) in zip(
            done.parameters, done.values, done.intervals, strict=True
        )
    ]
    text = f"{'; '.join(values)}."
    found.append(Headline("What is the ground like?", WATCH, text, "fit, 95 % interval, in SI"))
    passed = [r.observation.where(done.stages) for r in done.readings if r.passed]
    if passed:
        text = f"Passed already: {', '.join(passed)}."
        found.append(
            Headline("Do the measurements keep what they must?", NO, text, "at_least, at_most")
        )
    limits = {n: a for n, a in done.fitted.answers.items() if a.get("ok") is not None}
    broken = [a["label"] for a in limits.values() if a["ok"] is False]
    text = f"All {len(limits)} limits hold with the fitted values."
    if broken:
        text = f"{len(broken)} of {len(limits)} fail with the fitted values: {', '.join(broken)}."
    found.append(
        Headline("Do the limits hold?", NO if broken else YES, text, f"scheme {done.predicted}")
    )
    if done.advice:
        found.append(Headline("What to do next?", WATCH, done.advice[0], ""))
    return found


def _measured(done: Matched) -> Part:
    """Measured against computed, one drawing a kind of measurement."""
    part = Part(title="Measured and computed")
    for kind, measured_as in KINDS.items():
        readings = [r for r in done.readings if r.observation.kind == kind]
        if len(readings) < 2:  # a single one is told by the table
            continue
        measured = np.array([float(r.observation.value or 0.0) for r in readings])
        computed = np.array([r.computed for r in readings])
        order = np.argsort(measured)
        part.series[kind] = Curves(
            f"{measured_as.names}: computed against measured",
            measured_as.shown,
            measured[order],
            {"computed": computed[order], "as measured": measured[order]},
            axis="measured",
            axis_kind=measured_as.shown,
            dots=frozenset({"computed"}),
        )
    part.tables["measurements"] = _table(
        residual_table(done)[
            ["what", "unit", "measured", "error", "computed", "residual", "inside band", "passed"]
        ]
    )
    return part


def _fitted(done: Matched) -> Part:
    part = Part(title="Fitted values")
    rows = {
        item.path: (float(low) / item.start, float(value) / item.start, float(high) / item.start)
        for item, value, (low, high) in zip(
            done.parameters, done.values, done.intervals, strict=True
        )
        if item.start
    }
    if rows:
        part.spans["fitted"] = Spans(
            "Fitted value over that of the file",
            "ratio",
            rows,
            ("low end, 95 %", "high end, 95 %"),
            "fitted",
            marks={"the file's value": 1.0},
        )
    part.tables["parameters"] = _table(parameter_table(done))
    return part


def _foretold(done: Matched) -> Part:
    """Answers before and after the fit, and chances of limits."""
    part = Part(title="What is foretold")
    entries = answer_names([done.fitted])
    for name in headlines(done):
        entry, rows = done.fitted.answers[name], {}
        for cases, when in ((done.prior, "before the fit"), (done.posterior, "after the fit")):
            values = cases.values(name)
            values = values[np.isfinite(values)]
            if values.size:
                low, middle, high = np.quantile(values, [0.5 - BAND / 2, 0.5, 0.5 + BAND / 2])
                rows[when] = (float(low), float(middle), float(high))
        limit = entry["limit"]
        if rows and name in entries:
            marks = {} if not isinstance(limit, int | float) else {"limit": float(limit)}
            part.spans[name] = Spans(
                entry["label"], entry.get("kind", ""), rows, ENDS, "median", entry["unit"], marks
            )
    before, after = done.prior.chances(), done.posterior.chances()
    table: list[Sequence[object]] = [
        [name, *_told(before.get(name)), *_told(found)] for name, found in after.items()
    ]
    if table:
        head = ["limit"]
        for when in ("before", "after"):
            head += [f"chance {when} [%]", f"from {when} [%]", f"to {when} [%]"]
        part.tables["chances"] = (head, table)
    return part


def _told(found: Chance | None) -> tuple[float | None, ...]:
    if found is None:
        return None, None, None
    return 100 * found.value, 100 * found.low, 100 * found.high


def _table(frame: pandas.DataFrame) -> Table:
    return [str(name) for name in frame.columns], list(frame.itertuples(index=False))
