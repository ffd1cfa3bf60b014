"""The report of a comparison: the schemes ranked, why they fail, and their plans side by side."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from urllib.parse import quote

from wellring.postprocess.answers import make_answers
from wellring.postprocess.comparison.comparison import NEIGHBOUR, Comparison, SchemeRow
from wellring.postprocess.operation.cost_parts import CostParts
from wellring.postprocess.report.report import assumptions_of, method_of, provenance_of_page
from wellring.postprocess.report.report_fields import plan_layers
from wellring.postprocess.report.report_page import REPORT_FILE, Page
from wellring.postprocess.report.report_plan import Sheet, plans_data
from wellring.postprocess.report.report_sections import Sections, Subject
from wellring.postprocess.report.report_tables import Cell, PageTable, csv_table, plain_table
from wellring.postprocess.report_headlines import NO, WATCH, YES, Headline
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import read_results

MOST_PLANS = 12
"""Schemes whose plans stand side by side at most, the best ranked ones."""


def compare_page(comparison: Comparison) -> Page | None:
    """The comparison as a page; None where no scheme was solved.

    Each solved scheme's run folder is read again.
    """
    solved = [row for row in comparison.rows if row.folder is not None]
    if not solved:
        return None
    first = RunFolder(solved[0].folder)  # type: ignore[arg-type]
    ledger = first.ledger
    sections = Sections(comparison.system, {stage.folder: stage.name for stage in ledger.stages})
    sheets: list[Sheet] = []
    warnings: dict[str, list[str]] = {}
    assumptions: list[str] = []
    for row in solved:
        assert row.folder is not None
        run = RunFolder(row.folder)
        results = read_results(run)
        answers = make_answers(run, results)
        for text in dict.fromkeys(answers.warnings):
            warnings.setdefault(text, []).append(row.scheme)
        assumptions += assumptions_of(run, answers.assumptions)
        if len(sheets) == MOST_PLANS:
            continue
        layers, marks = plan_layers(run, results), []
        for part in answers.parts:
            layers |= part.fields
            marks += part.marks
        sheets.append(
            Sheet(run, layers, results, marks, name=row.scheme, told=_told(comparison, row),
                  ok=row.holds)
        )  # fmt: skip
    best = comparison.best
    return Page(
        kind="comparison of schemes",
        site=comparison.site,
        about=[("Schemes", f"{len(comparison.rows)} side by side")],
        told=f"First: {best.scheme}" if best else "No scheme keeps all limits: change one of them.",
        verdict=best is not None,
        invented=ledger.invented,
        system=comparison.system,
        headlines=_headlines(comparison),
        lead=_lead(comparison),
        charts=sections.charts,
        stages=[(stage.folder, stage.name) for stage in ledger.stages],
        plans=plans_data(sheets),
        subjects=[_warnings(warnings, len(solved))] if warnings else [],
        method=[
            "Each scheme is a run of its own: the same ground, water and stages, its own walls and "
            "wells. Of several stages the worst is told. Schemes that keep all limits come first, "
            f"then those of the least {comparison.ranked_by}.",
            *(told for told in (comparison.cost_told, comparison.flood_told) if told),
            f"{solved[0].scheme}: {method_of(first)}",
        ],
        assumptions=list(dict.fromkeys(assumptions)),
        **provenance_of_page(first.provenance),
    )


def _told(comparison: Comparison, row: SchemeRow) -> str:
    said = [row.text(heading, comparison.system) for heading in ("peak discharge", "cost")]
    return ", ".join(text for text in said if text != "–")


def _headlines(comparison: Comparison) -> list[Headline]:
    best, rows = comparison.best, comparison.rows
    by = comparison.ranked_by
    keep = [row for row in rows if row.holds]
    fail = [row for row in rows if row.holds is False]
    lost = [row for row in rows if row.failed]
    question = "Does a scheme keep all limits?"
    if best:
        others = f" of the {len(keep)} that do" if len(keep) > 1 else ", the only one that does"
        text = f"{best.scheme} keeps all limits{others}; {by} {best.text(by, comparison.system)}."
        if len(keep) > 1:
            text = f"{best.scheme}: it keeps all limits, with the least {by}{others}: "
            text += f"{best.text(by, comparison.system)}."
        found = [Headline(question, YES, text, "ranking, see method")]
    else:
        text = f"None does; nearest by rank: {rows[0].scheme}."
        found = [Headline(question, NO, text, "ranking, see method")]
    if fail:
        limits = [
            name for name in comparison.limits if any(not r.limits.get(name, True) for r in fail)
        ]
        text = f"{len(fail)} of {len(rows)} do not: {', '.join(row.scheme for row in fail)}. "
        text += f"What fails: {', '.join(limits)}."
        found.append(Headline("Do all of them?", NO, text, "each scheme's own answers"))
    else:
        found.append(Headline("Do all of them?", YES, "All that were solved keep all limits.", ""))
    if lost:
        text = f"{', '.join(row.scheme for row in lost)}: the solver gave no answer."
        found.append(Headline("Was every scheme solved?", NO, text, "see the reasons below"))
    told = [row for row in rows if "peak discharge" in row.values]
    if told:
        low, high = (
            pick(told, key=lambda row: row.number("peak discharge")) for pick in (min, max)
        )
        text = (
            f"From {low.text('peak discharge', comparison.system)} ({low.scheme}) to "
            f"{high.text('peak discharge', comparison.system)} ({high.scheme})."
        )
        found.append(Headline("How much water is there to pump?", WATCH, text, "steady state"))
    text = (
        "All schemes stand on the same soil, so what is wrong in it is wrong in all. Conductivity "
        "is rarely known within a factor of three: vary the first scheme before it is chosen."
    )
    found.append(Headline("How sure is that?", WATCH, text, ""))
    return found


def _lead(comparison: Comparison) -> list[Subject]:
    ranked = Subject("The schemes, ranked", "s-ranked", [_ranked(comparison)])
    limits = Subject("Limits", "s-limits", [_limits(comparison)])
    rows = [
        [row.scheme, reason]
        for row in comparison.rows
        for reason in ([f"not solved: {row.failed}"] if row.failed else row.reasons)
    ]
    worst = [
        [row.scheme, row.text(NEIGHBOUR, comparison.system)]
        for row in comparison.rows
        if NEIGHBOUR in row.values
    ]
    if worst:
        limits.tables.append(plain_table("worst_neighbour", ["scheme", "what"], worst))
        limits.unfolded = 2
    if rows:
        limits.tables.append(plain_table("what_each_fails_on", ["scheme", "what"], rows))
        limits.unfolded = len(limits.tables)
    found = [ranked, limits]
    costs = _costs(comparison)
    if costs is not None:
        found.append(Subject("What it costs, by item", "s-costs", [costs]))
    return found


def _costs(comparison: Comparison) -> PageTable | None:
    """A row an item, a column a scheme that tells its cost; None where none does."""
    told = [(row.scheme, row.costs) for row in comparison.rows if row.folder]
    told = [one for one in told if one[1].money]
    if not told:
        return None
    items = list(dict.fromkeys(item for _, parts in told for item in parts.items))
    rows: list[Sequence[object]] = [
        [item, *(_money(parts, item) for _, parts in told)] for item in items
    ]
    rows.append(["all", *(round(parts.total) for _, parts in told)])
    head = ["item", *(f"{scheme} [{parts.currency}]" for scheme, parts in told)]
    table = plain_table("cost_by_item", head, rows)
    table.note = "Quantities of each run times the site's own prices: an estimate, no quotation."
    return table


def _money(parts: CostParts, item: str) -> object:
    """A cell of the costs: money, "no price" where it has none and is needed, None where not."""
    lacks = item in parts.lacking
    if item not in parts.money:
        return "no price" if lacks else None
    return f"{parts.money[item]:,.0f} + no price" if lacks else round(parts.money[item])


def _ranked(comparison: Comparison) -> PageTable:
    """A row a scheme in shown units, its name leading to its own report where there is one."""
    frame = comparison.frame()
    elsewhere = ("fails on", NEIGHBOUR)  # sentences: in tables of their own
    kept = [
        name for name in frame.columns if not name.startswith("limit: ") and name not in elsewhere
    ]
    rows: list[Sequence[object]] = list(frame[kept].itertuples(index=False))
    table = csv_table(comparison.system, "schemes", (kept, rows))
    for row, cells in zip(comparison.rows, table.rows, strict=True):
        at = kept.index("scheme")
        if row.folder is not None and (row.folder / REPORT_FILE).is_file():
            link = f"../{quote(row.folder.name)}/{REPORT_FILE}"
            cells[at] = Cell(cells[at].text, cells[at].sort, link=link)
        word = "" if row.holds is None else "ok" if row.holds else "bad"
        cells[kept.index("all limits hold")] = Cell("" if word else "not solved", verdict=word)
    return table


def _limits(comparison: Comparison) -> PageTable:
    """A row a limit, a column a scheme."""
    words = {True: "ok", False: "bad", None: ""}
    return PageTable(
        "which_limit_holds",
        ["limit", *(row.scheme for row in comparison.rows)],
        [
            [
                Cell(name, name),
                *(
                    Cell("" if name in row.limits else "–", verdict=words[row.limits.get(name)])
                    for row in comparison.rows
                ),
            ]
            for name in comparison.limits
        ],
    )


def _warnings(warnings: dict[str, list[str]], count: int) -> Subject:
    """Each warning once, with the schemes it is said of."""
    told = {
        text: "all" if len(schemes) == count > 1 else ", ".join(schemes)
        for text, schemes in warnings.items()
    }
    rows = sorted(((who, text) for text, who in told.items()), key=lambda row: row[0] != "all")
    table = plain_table("warnings", ["schemes", "warning"], rows)
    return Subject("Warnings", "s-warnings", [table])


def write_compare_page(comparison: Comparison, folder: Path) -> Path | None:
    """Write the page into the comparison's folder."""
    page = compare_page(comparison)
    return page.write(folder / REPORT_FILE) if page else None
