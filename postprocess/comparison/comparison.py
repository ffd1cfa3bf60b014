"""Schemes of a site side by side: one row a scheme from the answers of its run, and their rank.

Answers are read by name; what a run does not have is left out. Schemes that keep all limits come
first, then the cheaper ones where every one tells its cost, else those that pump less: a wall that
has no price does not make its scheme a cheap one.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wellring.inputs.basics.shown_text import shown_text
from wellring.postprocess.operation.cost_parts import CostParts, cost_parts
from wellring.postprocess.operation.flood_answers import FloodAnswers
from wellring.postprocess.report_headlines import bare_text, limit_text
from wellring.postprocess.run.answer import Answer
from wellring.postprocess.run.run_folder import ANSWERS_FILE, RunFolder

if TYPE_CHECKING:
    import pandas

FLOOD = "time to flood"
"""Heading of the time until the water is at formation, or a plug at its limit, where all pumps
stop in the last stage."""
NEIGHBOUR = "worst neighbour"
"""Heading of the neighbour whose limit is taken up most, in words."""
NO_DAYS = (
    "No cost in all, so it does not rank: how long some stage is pumped is not known (day of each "
    "stage, lasts of the last). A week's cost leaves out what is paid once: drilling, walls."
)
"""Told where there are prices, but not the days."""
_COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("least water below formation", r".*\.dry_margin", "least"),
    ("peak discharge", r"[^.]*\.inflow_total", "most"),
    ("cost", r"cost", "most"),
    ("cost a week", r"[^.]*\.cost_a_week", "most"),
    ("pumps", r"[^.]*\.pumps", "most"),
    ("operators a shift", r"[^.]*\.operators", "most"),
    ("largest settlement", r"[^.]*\.settlement_largest", "most"),
    ("returned to the ground", r"[^.]*\.returned", "most"),
    ("volume", r"discharge_volume", "most"),
    ("energy", r"energy", "most"),
    ("day dry", r"[^.]*\.dry_from_day", "most"),
)
"""Heading, pattern of the answers' names, which of several stages is told."""


@dataclass
class SchemeRow:
    """One scheme in the comparison.

    Parameters
    ----------
    failed : why it was not solved, or "".
    holds : whether all limits hold; None where it was not solved.
    reasons : what it fails on, one sentence a limit.
    values : heading → (number or text, unit).
    """

    scheme: str
    folder: Path | None
    failed: str = ""
    holds: bool | None = None
    reasons: list[str] = field(default_factory=list)
    values: dict[str, tuple[float | str | None, str]] = field(default_factory=dict)
    kinds: dict[str, str] = field(default_factory=dict)
    limits: dict[str, bool] = field(default_factory=dict)
    """Limit → whether it holds in all stages."""
    coarse_flood: bool = False
    """Whether its time to flood is of a coarser grid."""
    costs: CostParts = field(default_factory=CostParts)

    def number(self, heading: str) -> float:
        """A value as a number, infinite where it has none."""
        value = self.values.get(heading, (None, ""))[0]
        return float(value) if isinstance(value, int | float) else float("inf")

    def text(self, heading: str, system: str) -> str:
        """A value in shown units, "–" where it has none."""
        value, unit = self.values.get(heading, (None, ""))
        if value is None:
            return "–"
        if heading == FLOOD and value == 0.0:
            return "none: not dry or not held"
        if isinstance(value, str):
            return f"{value} {unit}".rstrip()
        return bare_text(Answer(value, unit, "", heading, self.kinds.get(heading, "")), system)


def scheme_row(folder: Path) -> SchemeRow:
    """The row of a finished run."""
    run = RunFolder(folder)
    answers = json.loads((folder / ANSWERS_FILE).read_text(encoding="utf-8"))
    row = SchemeRow(run.ledger.scheme, folder)
    broken = {name: a for name, a in answers.items() if a.get("ok") is False}
    row.holds = not broken
    row.reasons = [_reason(answer, run.ledger.show) for answer in broken.values()]
    for answer in answers.values():
        if answer.get("ok") is not None:
            limit = _limit_name(answer["label"], [stage.name for stage in run.ledger.stages])
            row.limits[limit] = row.limits.get(limit, True) and bool(answer["ok"])
    worst = answers.get("neighbours.worst", {}).get("value")
    if worst:
        row.values[NEIGHBOUR] = (shown_text(str(worst), run.ledger.show), "")
    row.costs = cost_parts(folder)
    row.values["wells"] = (float(len(run.ledger.wells)), "")
    for heading, pattern, which in _COLUMNS:
        found = [
            answer
            for name, answer in answers.items()
            if re.fullmatch(pattern, name) and isinstance(answer["value"], int | float)
        ]
        if any(answer["value"] != 0.0 for answer in found):
            pick = min if which == "least" else max
            told = pick(found, key=lambda answer: answer["value"])
            row.values[heading] = (float(told["value"]), told["unit"])
            row.kinds[heading] = told.get("kind", "")
    return row


def add_flood(row: SchemeRow, told: FloodAnswers, coarse: bool = False) -> None:
    """Set the hours until the pit floods, or a plug lifts, without pumps into a scheme's row."""
    hours, row.coarse_flood = told.start_by, coarse
    value: float | str = f"> {24 * told.days:g}" if hours is None else float(f"{hours:.3g}")
    if hours is None and told.floor_holds is None:
        value = "not judged"
    row.values[FLOOD] = (value, "h")


def _limit_name(label: str, stages: Sequence[str]) -> str:
    """A limit's name without the stage it is told for."""
    starts = (f"{stage}: " for stage in stages)
    return next((label.removeprefix(start) for start in starts if label.startswith(start)), label)


def _reason(told: dict[str, Any], system: str) -> str:
    answer = Answer(**told)
    limit = limit_text(answer, system)
    return f"{answer.label} is {bare_text(answer, system)}" + (f", limit {limit}" if limit else "")


@dataclass
class Comparison:
    """All schemes of a site, best first."""

    site: str
    rows: list[SchemeRow]
    ranked_by: str
    system: str = "metric"

    @property
    def flood_told(self) -> str:
        """What the time to flood means; "" where it is not told."""
        if not any(FLOOD in row.values for row in self.rows):
            return ""
        coarse = [row.scheme for row in self.rows if row.coarse_flood]
        text = (
            "Time to flood: all pumps stop at once in the last stage, until the water is at "
            "formation or a plug under the floor at its limit; what it assumes stands in each "
            "scheme's outage folder."
        )
        if coarse:
            text += (
                f" Followed on a coarser grid, for the comparison alone: {', '.join(coarse)}; "
                "on it pits were found to flood 1 % sooner to 13 % later than on the run's own. "
                "What must stand by is for wellring outage to tell."
            )
        return text

    @property
    def cost_told(self) -> str:
        """What the cost leaves out, and whether that is why it does not rank; "" without cost."""
        if not any("cost" in row.values for row in self.rows):
            return NO_DAYS if any("cost a week" in row.values for row in self.rows) else ""
        items = dict.fromkeys(item for row in self.rows for item in row.costs.unpriced)
        if not items:
            return ""
        told = [
            f"{item} ({', '.join(row.scheme for row in self.rows if item in row.costs.unpriced)})"
            for item in items
        ]
        text = f"Not in the cost, for want of a price: {'; '.join(told)}."
        return text if self.ranked_by == "cost" else f"{text} So the cost does not rank."

    @property
    def best(self) -> SchemeRow | None:
        """The first that keeps all limits, None where none does."""
        return next((row for row in self.rows if row.holds), None)

    @property
    def headings(self) -> list[str]:
        """Headings of values that some scheme has, in order."""
        order = ["wells", *(heading for heading, _, _ in _COLUMNS)]
        order.insert(order.index("cost"), FLOOD)
        order.insert(order.index("largest settlement") + 1, NEIGHBOUR)
        return [name for name in order if any(name in row.values for row in self.rows)]

    @property
    def limits(self) -> list[str]:
        """Names of the limits that some scheme is judged by."""
        return list(dict.fromkeys(name for row in self.rows for name in row.limits))

    def frame(self) -> pandas.DataFrame:
        """One row a scheme, best first, in SI with units in the headings."""
        import pandas

        rows = []
        units = {
            heading: next(r.values[heading][1] for r in self.rows if heading in r.values)
            for heading in self.headings
        }
        for rank, row in enumerate(self.rows, start=1):
            told: dict[str, Any] = {
                "rank": rank,
                "scheme": row.scheme,
                "all limits hold": "not solved" if row.failed else "yes" if row.holds else "no",
            }
            for heading in self.headings:
                name = f"{heading} [{units[heading]}]" if units[heading] else heading
                told[name] = row.values.get(heading, (None, ""))[0]
            for limit in self.limits:
                told[f"limit: {limit}"] = {True: "holds", False: "fails", None: ""}[
                    row.limits.get(limit)
                ]
            told["fails on"] = row.failed or "; ".join(row.reasons)
            rows.append(told)
        return pandas.DataFrame(rows)

    def as_json(self) -> dict[str, Any]:
        """What compare.json holds."""
        return {
            "site": self.site,
            "ranked_by": self.ranked_by,
            "not_in_the_cost": self.cost_told,
            "schemes": [
                {
                    "scheme": row.scheme,
                    "folder": row.folder.name if row.folder else None,
                    "solved": not row.failed,
                    "all_limits_hold": row.holds,
                    "fails_on": [row.failed] if row.failed else row.reasons,
                    "values": {
                        name: {"value": value, "unit": unit}
                        for name, (value, unit) in row.values.items()
                    },
                    "limits": row.limits,
                }
                for row in self.rows
            ],
        }

    def text(self) -> str:
        """The table and the reasons for a terminal, in the shown units."""
        head = ["", *(row.scheme for row in self.rows)]
        body = [
            [
                "all limits hold",
                *("not solved" if r.failed else "yes" if r.holds else "NO" for r in self.rows),
            ]
        ]
        for heading in self.headings:
            if heading == NEIGHBOUR:
                continue  # a sentence each, told below the table
            body.append([heading, *(row.text(heading, self.system) for row in self.rows)])
        for limit in self.limits:
            words = {True: "holds", False: "FAILS", None: "–"}
            body.append([f"limit: {limit}", *(words[row.limits.get(limit)] for row in self.rows)])
        wide = [max(len(line[i]) for line in [head, *body]) for i in range(len(head))]
        lines = [self.site, ""]
        for line in [head, *body]:
            lines.append("  ".join(t.ljust(w) for t, w in zip(line, wide, strict=True)).rstrip())
        lines += ["", f"Ranked: schemes that keep all limits first, then by {self.ranked_by}."]
        lines += [told for told in (self.cost_told, self.flood_told) if told]
        for row in self.rows:
            if row.failed:
                lines.append(f"{row.scheme} was not solved: {row.failed}")
            elif not row.holds:
                lines.append(f"{row.scheme} fails on:")
                lines += [f"  - {reason}" for reason in row.reasons]
        worst = [row for row in self.rows if NEIGHBOUR in row.values]
        if worst:
            lines.append("Worst neighbours:")
            lines += [f"  {row.scheme}: {row.text(NEIGHBOUR, self.system)}" for row in worst]
        best = self.best
        lines.append(
            f"First: {best.scheme}" if best else "No scheme keeps all limits: change one of them."
        )
        return "\n".join(lines) + "\n"


def compare_rows(site: str, rows: Sequence[SchemeRow], system: str = "metric") -> Comparison:
    """Rank rows: unsolved ones last, limits first, then cost where all tell it, else discharge.

    All tell their cost where the same items lack a price in all of them.
    """
    solved = [row for row in rows if not row.failed]
    told = bool(solved) and all("cost" in row.values for row in solved)
    same = len({frozenset(row.costs.unpriced) for row in solved}) < 2
    by = "cost" if told and same else "peak discharge"

    def rank(row: SchemeRow) -> tuple[bool, bool, float]:
        return bool(row.failed), not row.holds, row.number(by)

    return Comparison(site, sorted(rows, key=rank), by, system)
