"""A fit in tables, in answers.json, in words, and all of it in its folder."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from wellring.model.studies.cases import Cases
from wellring.model.studies.match.matched import Matched
from wellring.postprocess.not_written import NotWritten
from wellring.postprocess.report.report_page import REPORT_FILE
from wellring.postprocess.run.result_set import result_set
from wellring.postprocess.run.tables import write_frame
from wellring.postprocess.water.measured import BAND, CAUTIONS

if TYPE_CHECKING:
    import pandas


_NONE = "–"


def residual_table(done: Matched) -> pandas.DataFrame:
    """One row a measurement; SI."""
    import pandas

    rows = []
    for reading in done.readings:
        item = reading.observation
        rows.append(
            {
                "what": item.where(done.stages),
                "kind": item.kind,
                "point": item.point,
                "stage": "" if item.stage is None else ("", *done.stages)[item.stage],
                "day": item.day,
                "unit": item.unit,
                "measured": item.value,
                "error": item.error,
                "weight": item.weight,
                "computed": reading.computed,
                "residual": reading.residual,
                "residual over error": reading.residual / item.error,
                "band low": reading.band[0],
                "band high": reading.band[1],
                "inside band": reading.inside,
                "foretold low": None if reading.before is None else reading.before[0],
                "foretold high": None if reading.before is None else reading.before[1],
                "at least": item.at_least,
                "at most": item.at_most,
                "passed": reading.passed,
            }
        )
    return pandas.DataFrame(rows)


def parameter_table(done: Matched) -> pandas.DataFrame:
    """One row a parameter: the file's value, the fitted one, its 95 % interval; SI."""
    import pandas

    return pandas.DataFrame(
        {
            "path": [item.path for item in done.parameters],
            "file": [item.start for item in done.parameters],
            "fitted": done.values,
            "low 95 %": done.intervals[:, 0],
            "high 95 %": done.intervals[:, 1],
            "bound low": [item.low for item in done.parameters],
            "bound high": [item.high for item in done.parameters],
            "at a bound": [item.path in done.at_bounds for item in done.parameters],
            "standard deviation": done.fit.deviations,
            "of": ["its logarithm" if item.log else "itself" for item in done.parameters],
            "known before": [item.known for item in done.parameters],
        }
    )


def prediction_table(done: Matched) -> pandas.DataFrame:
    """One row a headline answer: with the fitted values, and bands before and after the fit; SI."""
    import pandas

    rows = []
    for name in headlines(done):
        entry = done.fitted.answers[name]
        row: dict[str, Any] = {
            "answer": name,
            "label": entry["label"],
            "unit": entry["unit"],
            "file's values": _value(done.prior.base.answers.get(name)),
            "fitted": _value(entry),
            "limit": entry["limit"],
            "ok": entry["ok"],
        }
        for cases, when in ((done.prior, "before"), (done.posterior, "after")):
            values = cases.values(name)
            values = values[np.isfinite(values)]
            for share, what in ((0.5 - BAND / 2, "low"), (0.5, "median"), (0.5 + BAND / 2, "high")):
                row[f"{what} {when}"] = float(np.quantile(values, share)) if values.size else None
        rows.append(row)
    return pandas.DataFrame(rows)


def headlines(done: Matched) -> list[str]:
    """Answers that are foretold: those that vary before or after, and are there with the fit."""
    names = [*done.prior.headlines, *done.posterior.headlines]
    limits = [n for n, a in done.fitted.answers.items() if a.get("ok") is not None]
    varies = set(done.prior.names) | set(done.posterior.names)
    names += [name for name in limits if name in varies]
    return [
        name
        for name in dict.fromkeys(names)
        if name in done.fitted.answers and "mass_balance" not in name
    ]


def trigger_table(done: Matched) -> pandas.DataFrame:
    """One row a thing to be measured next: bands, alert and action levels; SI."""
    import pandas

    rows = []
    for trigger in done.triggers:
        rows.append(
            {
                "what": trigger.observation.where(done.stages),
                "unit": trigger.observation.unit,
                "low before": trigger.before[0],
                "median before": trigger.before[1],
                "high before": trigger.before[2],
                "low after": trigger.after[0],
                "median after": trigger.after[1],
                "high after": trigger.after[2],
                "alert low": trigger.alert[0],
                "alert high": trigger.alert[1],
                "action low": trigger.action[0],
                "action high": trigger.action[1],
                "spread over error": trigger.telling,
            }
        )
    return pandas.DataFrame(rows)


def as_json(done: Matched) -> dict[str, Any]:
    """Headline numbers as answers.json of a run holds them, then all else under "match"."""
    answers: dict[str, Any] = {}
    for item, value, (low, high) in zip(done.parameters, done.values, done.intervals, strict=True):
        answers[f"fit.{item.path}"] = {
            "value": float(value),
            "unit": "SI",
            "label": f"Fitted {item.path}",
            "basis": f"weighted least squares on {_counted(done)} measurements; 95 % interval",
            "limit": None,
            "ok": None,
            "low": float(low),
            "high": float(high),
        }
    for row in prediction_table(done).replace({np.nan: None}).to_dict("records"):
        answers[f"predicted.{row['answer']}"] = {
            "value": row["fitted"],
            "unit": row["unit"],
            "label": row["label"],
            "basis": f"scheme '{done.predicted}' with the fitted values; 5 % and 95 % of "
            f"{len(done.posterior.variants)} cases after, {len(done.prior.variants)} before the "
            "fit",
            "limit": row["limit"],
            "ok": row["ok"],
            "low": row["low after"],
            "high": row["high after"],
            "low_before": row["low before"],
            "high_before": row["high before"],
        }
    fit = done.fit
    return {
        **answers,
        "match": {
            "site": done.study.base.site.name,
            "scheme": done.scheme,
            "predicted": done.predicted,
            "observations": done.source,
            "inputs": done.study.base.hash,
            "solver": done.study.base.solver.sha256,
            "measurements": _counted(done),
            "rms_residual_over_error": root_mean_square(done),
            "reduced_sum_of_squares": fit.scale,
            "rounds": fit.rounds,
            "converged": fit.converged,
            "correlation": [[float(v) for v in row] for row in fit.correlation],
            "singular_values": [float(v) for v in fit.singular],
            "open": done.open_directions,
            "at_bounds": done.at_bounds,
            "chances": {
                when: {
                    name: {"chance": c.value, "low": c.low, "high": c.high, "cases": c.cases}
                    for name, c in cases.chances().items()
                }
                for cases, when in ((done.prior, "before"), (done.posterior, "after"))
                if cases.variants
            },
            "residuals": _records(residual_table(done)),
            "triggers": _records(trigger_table(done)),
            "advice": done.advice,
            "cautions": list(CAUTIONS),
            "warnings": done.warnings,
        },
    }


def _records(table: pandas.DataFrame) -> list[dict[str, Any]]:
    return table.astype(object).where(table.notna(), None).to_dict("records")


def _counted(done: Matched) -> int:
    return sum(item.fitted for item in done.rows)


def root_mean_square(done: Matched) -> float:
    """Root mean square of the fitted readings' residuals over their errors."""
    wrong = [r.residual / r.observation.error for r in done.readings if r.observation.fitted]
    return float(np.sqrt(np.mean(np.square(wrong))))


def _value(answer: dict[str, Any] | None) -> float | None:
    value = (answer or {}).get("value")
    return float(value) if isinstance(value, int | float) else None


def as_text(done: Matched) -> str:
    """Everything in words, in SI."""
    lines = [
        f"{done.study.base.site.name} — {done.scheme}: {_counted(done)} measurements, "
        f"{len(done.parameters)} parameters, {done.fit.rounds} rounds; residuals are "
        f"{root_mean_square(done):.2f} times their errors (root mean square)",
        "",
        "Fitted (95 % interval)",
    ]
    for item, value, (low, high) in zip(done.parameters, done.values, done.intervals, strict=True):
        lines.append(
            f"  {item.path}: {value:.4g} ({low:.4g} to {high:.4g}); the file has {item.start:.4g}"
        )
    if len(done.parameters) > 1:
        lines += ["", "Correlation"]
        for item, line in zip(done.parameters, done.fit.correlation, strict=True):
            lines.append(f"  {item.path}: " + "  ".join(f"{value:+.2f}" for value in line))
    lines += ["", "Measured, computed, residual"]
    for reading in done.readings:
        row = reading.observation
        mark = "" if reading.inside else "  outside its band"
        mark += "" if row.fitted else "  (kept out of the fit)"
        mark += "  PASSES WHAT IT MUST NOT" if reading.passed else ""
        lines.append(
            f"  {row.where(done.stages)}: {row.value:.4g}, {reading.computed:.4g}, "
            f"{reading.residual:+.3g} {row.unit}{mark}"
        )
    table = prediction_table(done)
    if len(table):
        lines += ["", f"{done.predicted}: 5 % to 95 %, before and after the fit"]
        for told in table.to_dict("records"):
            limit = _short(told["limit"])
            lines.append(
                f"  {told['label']} [{told['unit']}]: {_range(told, 'before')}; after "
                f"{_range(told, 'after')}; with the fit {_short(told['fitted'])}"
                + (f", limit {limit}" if limit != _NONE else "")
            )
    lines += _chances(done)
    if done.triggers:
        lines += ["", "To be measured next: foretold, alert, action"]
        for told in trigger_table(done).to_dict("records"):
            lines.append(
                f"  {told['what']} [{told['unit']}]: {_short(told['median after'])}; alert below "
                f"{_short(told['alert low'])} or above {_short(told['alert high'])}; action "
                f"{_action(told)}"
            )
    lines += ["", "What to do next", *(f"  {n}. {t}" for n, t in enumerate(done.advice, 1))]
    lines += [f"Note: {text}" for text in done.warnings]
    return "\n".join([*lines, *(f"Caution: {text}" for text in CAUTIONS)]) + "\n"


def _chances(done: Matched) -> list[str]:
    before, after = done.prior.chances(), done.posterior.chances()
    told = [
        f"  {name}: {before[name].text()} before, {found.text()} after"
        for name, found in after.items()
        if name in before and (found.failing or before[name].failing)
    ]
    return ["", "Chance that a limit fails (95 % interval)", *told] if told else []


def _range(row: dict[Any, Any], when: str) -> str:
    return f"{_short(row[f'low {when}'])} to {_short(row[f'high {when}'])}"


def _action(row: dict[Any, Any]) -> str:
    found = [
        f"{word} {_short(row[f'action {end}'])}"
        for end, word in (("low", "below"), ("high", "above"))
        if row[f"action {end}"] is not None and np.isfinite(row[f"action {end}"])
    ]
    return " or ".join(found) or "not given (columns at_least, at_most)"


def _short(value: Any) -> str:
    return _NONE if value is None or not np.isfinite(value) else f"{value:.4g}"


def write_match(done: Matched, figures: bool, say: Callable[[str], None]) -> None:
    """All results into the study's folder, in place of the old ones as one set."""
    text = json.dumps(as_json(done), ensure_ascii=False, indent=1, allow_nan=False)
    with result_set(done.folder) as place:
        (place / "answers.json").write_text(text, encoding="utf-8")
        (place / "match.txt").write_text(as_text(done), encoding="utf-8")
        tables = place / "tables"
        tables.mkdir()
        for name, table in (
            ("residuals", residual_table(done)),
            ("parameters", parameter_table(done)),
            ("predictions", prediction_table(done)),
            ("triggers", trigger_table(done)),
        ):
            write_frame(tables / f"{name}.csv", table)
        write_frame(
            tables / "correlation.csv", _correlations(done).rename_axis("path").reset_index()
        )
        for cases, when in ((done.prior, "before"), (done.posterior, "after")):
            frame = _cases(cases, when).rename_axis("case").reset_index()
            write_frame(tables / f"cases_{when}.csv", frame)
        if figures:
            from wellring.model.studies.match.draw_match import draw_match
            from wellring.model.studies.match.match_page import match_page

            failed = NotWritten()
            say("drawing figures")
            with failed.item("figures"):
                draw_match(done, place / "figures", failed)
            say("writing the report")
            with failed.item(REPORT_FILE):
                match_page(done).write(place / REPORT_FILE)
            done.not_written = failed.items


def _correlations(done: Matched) -> pandas.DataFrame:
    import pandas

    paths = [item.path for item in done.parameters]
    return pandas.DataFrame(done.fit.correlation, index=paths, columns=paths)


def _cases(cases: Cases, when: str) -> pandas.DataFrame:
    import pandas

    return cases.frame if cases.variants else pandas.DataFrame({when: []})
