"""The answers of a run as plain text for a terminal."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from pathlib import Path

from wellring.inputs.basics.shown_text import shown_text
from wellring.inputs.basics.units import shown
from wellring.postprocess.answers import Answers
from wellring.postprocess.run.answer import Answer, counted
from wellring.postprocess.run.run_folder import RunFolder

CAUTION = (
    "Caution: a model of what the borings saw. Soil is uncertain by factors; measure, watch and "
    "keep standby pumps.\nLocal codes and a licensed engineer decide; this is no design approval."
)


_OF_A_STAGE = (
    "dry_margin",
    "margin_on_arrival",
    "dry_from_day",
    "inflow_total",
    "inflow_excavation",
    "wells_total",
    "closed_form",
    "reach",
    "uplift",
    "uplift_head_to_reach",
    "exit_gradient",
    "heave",
    "heave_total_stress",
    "uplift_in_time",
    "uplift_holds_from_day",
    "heave_in_time",
    "exit_gradient_in_time",
    "flotation",
    "flotation_without_pumps",
    "flotation_head_allowed",
    "recovered",
    "settlement_largest",
    "settlement_at_end",
    "settlement_at_end_model",
    "settlement_reach",
    "settlement_slope",
    "discharge_steady",
    "discharge_peak",
    "pumps",
    "operators",
    "power",
    "cost_a_week",
    "tank_area_needed",
)
"""What is told of each stage, in this order; then every limit of it that fails."""
_OF_THE_WHOLE = (
    "time.peak_flow",
    "time.end_against_steady",
    "pumping_may_stop",
    "discharge_volume",
    "energy",
    "operator_hours",
    "cost",
    "grid_error",
    "grid_error_level",
    "farther_source_inflow",
    "farther_source_level",
    "mass_balance_error",
)
"""What is told at the end; then every limit that fails and was not told before."""


def summary(run: RunFolder, answers: Answers, folder: Path) -> str:
    """Headline answers, warnings, assumptions and where the files are."""
    ledger, provenance = run.ledger, run.provenance
    system = ledger.show
    lines = [f"{ledger.site} — {ledger.scheme}" + ("  (invented site)" if ledger.invented else "")]
    told: set[str] = set()
    for stage in ledger.stages[1:]:
        lines.append("")
        formation = shown("level", system).text(stage.formation)
        lines.append(f"{stage.name}, formation {formation}")
        prefix = f"{stage.folder}."
        for name in _with_failed(answers, prefix, [prefix + word for word in _OF_A_STAGE]):
            answer = answers.answers[name]
            lines.append(_row(_short(answer.label, stage.name), answer, system))
            told.add(name)
        lines += [f"  {text}" for text in _governing(run, stage.folder)]
    for heading, prefix in (("Neighbours", "neighbours."), ("Travel paths", "travel.")):
        own = [name for name in answers.answers if name.startswith(prefix)]
        if own:
            lines += ["", heading]
            lines += [_row(a.label, a, system) for a in map(answers.answers.__getitem__, own)]
            told.update(own)
    lines.append("")
    for name in _with_failed(answers, "", _OF_THE_WHOLE, told):
        answer = answers.answers[name]
        lines.append(f"{shown_text(answer.label, system)}: {value_text(answer, system)}")
    warnings = [shown_text(text, system) for text in answers.all_warnings]
    if warnings:
        lines += ["", "Warnings", *(f"  - {text}" for text in warnings)]
    assumed = [*provenance.get("assumptions", []), *answers.assumptions]
    if assumed:
        lines += ["", "Assumed", *(f"  - {shown_text(text, system)}" for text in assumed)]
    solver = provenance["solver"]
    lines += [
        "",
        f"MODFLOW 6 {solver['version']}, {provenance['cells']:,} cells, inputs "
        f"{provenance['inputs']['sha256'][:12]}",
        f"Files: {folder}",
        CAUTION,
        "",
    ]
    return "\n".join(lines)


def _with_failed(
    answers: Answers, prefix: str, names: Sequence[str], told: Collection[str] = ()
) -> list[str]:
    """Those of `names` that are there, then all others of `prefix` whose limit fails."""
    found = [name for name in names if name in answers.answers]
    return found + [
        name
        for name, answer in answers.answers.items()
        if answer.ok is False and name.startswith(prefix) and name not in (*found, *told)
    ]


_THINGS = ("pumps", "operators")
"""Units of counts that are things, and not measures or money."""


def value_text(answer: Answer, system: str) -> str:
    """An answer as text in the shown units, with its limit and whether it holds."""
    if answer.value is None:
        text = "not judged"
    elif isinstance(answer.value, str):
        text = shown_text(answer.value, system)
    elif answer.kind == "day":
        text = f"day {answer.value:.1f}"
    elif answer.kind == "fall":
        text = shown("length", system).text(answer.value)
    elif answer.kind == "share":
        text = f"{answer.value:.0%}"
    elif answer.kind == "count":
        text = f"{answer.value:,.0f}"
        if answer.unit in _THINGS:
            text = counted(answer.value, answer.unit)
        elif answer.unit != "1":
            text += f" {answer.unit}"
    elif answer.kind in ("flow", "length", "level", "settlement", "area", "volume"):
        text = shown(answer.kind, system).text(answer.value)
    elif answer.kind == "slope":
        text = f"1 in {1 / answer.value:,.0f}" if answer.value > 1e-6 else "level"
    elif answer.kind == "ratio":
        text = f"{answer.value:.2f}"
    elif answer.kind == "percent":
        text = f"{answer.value:+.1f} %" if "Change" in answer.label else f"{answer.value:.2g} %"
    elif answer.kind == "number":
        large = 1e4 <= abs(answer.value) < 1e12
        text = (
            f"{answer.value:,.0f} {answer.unit}" if large else f"{answer.value:.3g} {answer.unit}"
        )
    else:
        text = f"{answer.value:g} {answer.unit}"
    if answer.ok is None:
        return text
    limit = ""
    if answer.limit is not None:
        word = {"length": "needed", "ratio": "at most"}.get(answer.kind, "limit")
        bare = replace(answer, value=answer.limit, ok=None, label="")
        limit = f" ({word} {value_text(bare, system)})"
    return f"{text}{limit}  {'ok' if answer.ok else 'NOT OK'}"


def _row(label: str, answer: Answer, system: str) -> str:
    return f"  {shown_text(label, system):32} {value_text(answer, system)}"


def _short(label: str, stage: str) -> str:
    return label.removeprefix(f"{stage}: ")


def _governing(run: RunFolder, folder: str) -> list[str]:
    """How many wells each limit governs."""
    number = [stage.folder for stage in run.ledger.stages].index(folder)
    counts: dict[str, int] = {}
    for well in run.ledger.wells:
        counts[well.governing[number]] = counts.get(well.governing[number], 0) + 1
    if not counts:
        return []
    text = ", ".join(f"{count} by {reason}" for reason, count in sorted(counts.items()))
    return [f"wells governed: {text}"]
