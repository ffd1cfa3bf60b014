"""What sizing found, in words, tables and JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.shown_text import shown_text
from wellring.inputs.basics.units import shown
from wellring.model.limits.flow_limits import most_flow
from wellring.model.studies.engine import Study
from wellring.model.studies.sizing.responses import SolvedPoint, bound
from wellring.model.studies.sizing.rows import ORDER, RESERVE, SHARE_RESERVE, Rows, well_capacity
from wellring.model.studies.sizing.search import Search, Step
from wellring.model.studies.variants import Outcome
from wellring.postprocess.run.answer import counted

Floats = NDArray[np.float64]

GOALS = {
    "pumping": "the least pumping",
    "wells": "the fewest wells",
    "cost": "the least cost",
}


@dataclass(frozen=True)
class Blocker:
    """A limit that cannot be kept: by how much it is passed at least [`unit`], and where."""

    text: str
    excess: float
    unit: str
    where: str = ""

    def amount(self) -> str:
        """By how much, with its unit."""
        if self.unit == "m":
            return f"{self.excess:.2f} m too high"
        if self.excess >= 1.0:
            return f"{1.0 + self.excess:.1f} times its limit"
        percent = 100.0 * self.excess
        return f"{percent:{'.0f' if percent >= 10 else '.2g'}} % over its limit"

    def words(self) -> str:
        """In one line."""
        return f"{self.text}: {self.amount()}{self.where}"


@dataclass
class Sized:
    """The outcome of :func:`wellring.model.studies.size.size`.

    `own` is the scheme as it stands; `written` the file that holds the new scheme, or None.
    """

    study: Study
    scheme: str
    new_scheme: str
    own: Outcome
    own_flows: Floats
    search: Search
    written: Path | None = None
    warnings: list[str] = field(default_factory=list)
    not_written: list[str] = field(default_factory=list)
    """Figures, layers and pages that could not be written, one sentence each."""

    @property
    def folder(self) -> Path:
        """Where the study's files are."""
        return self.study.folder

    @property
    def rows(self) -> Rows:
        """The limits and candidates."""
        return self.search.rows

    @property
    def step(self) -> Step | None:
        """What was chosen: the best that holds, else the nearest to it; None without any."""
        return self.search.best or (self.search.nearest if self.search.steps else None)

    @property
    def found(self) -> bool:
        """Whether the true model says that all that was asked holds."""
        return self.search.best is not None

    @property
    def equal(self) -> Step | None:
        """The same wells at equal rates, where those were found to hold."""
        return next((step for step in self.search.equal if step.taken), None)

    @property
    def dig_holds(self) -> bool:
        """Whether the dig's own limits hold in what was chosen, with something to spare."""
        step = self.step
        return step is not None and self.rows.dig_holds(step.excess)

    @property
    def exit_code(self) -> int:
        """0 where all limits of the site hold in what was found, else 1."""
        return 0 if self.found and self.step is not None and not self.step.broken else 1

    def blockers(self) -> list[Blocker]:
        """The limits that no flows of these wells keep, as the true model has them.

        None where solves ran out while the programme still promised flows that keep them all.
        """
        step = self.step
        if step is None or self.found or not (self.search.blocked or self.search.denied):
            return []
        found = []
        for index, excess in sorted(
            step.excess.items(), key=lambda item: (ORDER[self.rows.limits[item[0]].kind], -item[1])
        ):
            limit = self.rows.limits[index]
            metres = limit.kind == "dry"
            over = excess - (RESERVE if metres else SHARE_RESERVE)
            if over <= (1e-3 if metres else 1e-6):
                continue
            where = self._where(step, index) if limit.of_dig else ""
            found.append(Blocker(limit.text, over, "m" if metres else "1", where))
        return found

    def _where(self, step: Step, limit: int) -> str:
        stage = self.rows.stages[self.rows.limits[limit].stage]
        values = np.where(stage.limit == limit, step.point.rows[stage.stage], -np.inf)
        row = int(np.nanargmax(values))
        x, y = (axis[row] for axis in self.rows.places[stage.stage])
        metres = self.study.base.site.crs.metres_per_unit
        return f" at x {x / metres:.1f}, y {y / metres:.1f}"

    def at_their_most(self) -> dict[str, str]:
        """Wells that give all they can in some stage, with what governs: pump, screen or level."""
        step = self.step
        if step is None:
            return {}
        found: dict[str, set[str]] = {}
        for s, stage in enumerate(self.rows.stages):
            levels = stage.levels(step.point.rows[s])
            for j, well in enumerate(stage.wells):
                flow = step.point.flows[s, well]
                point = self.rows.candidates[well].point
                low = levels[j] < point.lowest + 0.02
                most, what = most_flow(point, max(float(levels[j]), point.lowest))
                if flow > 0 and (flow > 0.98 * most or low):
                    found.setdefault(point.name, set()).add("level" if low else what)
        return {
            candidate.name: ", ".join(sorted(found[candidate.name]))
            for candidate in self.rows.candidates
            if candidate.name in found
        }

    def at_their_most_text(self) -> str:
        """The same in words."""
        return ", ".join(f"{name} ({what})" for name, what in self.at_their_most().items())

    def flows_table(self) -> tuple[list[str], list[Sequence[object]]]:
        """A row a well and stage: what it gave as it stood, at equal rates, and sized [m³/s]."""
        head = ["stage", "well", "x [m]", "y [m]", "as it stands [m3/s]", "equal rates [m3/s]",
                "sized [m3/s]", "level when sized [m]", "most it gives there [m3/s]"]  # fmt: skip
        rows: list[Sequence[object]] = []
        step, equal = self.step, self.equal
        for s, stage in enumerate(self.rows.stages):
            levels = stage.levels(step.point.rows[s]) if step else None
            for j, well in enumerate(stage.wells):
                candidate = self.rows.candidates[well]
                level = None if levels is None else float(levels[j])
                most = None if level is None else well_capacity(candidate.point, level)[0]
                rows.append(
                    [
                        self.search.stages[s],
                        candidate.name,
                        candidate.point.x,
                        candidate.point.y,
                        float(self.own_flows[s, well]),
                        float(equal.flows[s, well]) if equal else None,
                        float(step.flows[s, well]) if step else None,
                        level,
                        most,
                    ]
                )
        return head, rows

    def totals(self) -> dict[str, Floats]:
        """All flows of each stage (S,) [m³/s]: as it stands, at equal rates, sized."""
        found = {"as it stands": self.own_flows.sum(axis=1)}
        if self.equal is not None:
            found["equal rates"] = self.equal.flows.sum(axis=1)
        if self.step is not None:
            found["sized"] = self.step.flows.sum(axis=1)
        return found

    def as_json(self) -> dict[str, Any]:
        """What size.json holds."""
        step, search = self.step, self.search
        return {
            "site": self.study.base.site.name,
            "scheme": self.scheme,
            "goal": search.goal,
            "found": self.found,
            "new_scheme": self.new_scheme if self.written else None,
            "file": self.written.name if self.written else None,
            "candidates": len(self.rows.candidates),
            "wells": None if step is None else int((step.flows > 0).any(axis=0).sum()),
            "solves": search.solves,
            "most_solves": search.most_solves,
            "total_m3_s": {name: float(flows.sum()) for name, flows in self.totals().items()},
            "by_stage_m3_s": {
                name: dict(zip(search.stages, flows.tolist(), strict=True))
                for name, flows in self.totals().items()
            },
            "flows_m3_s": None
            if step is None
            else {
                stage: {
                    c.name: float(step.flows[s, i])
                    for i, c in enumerate(self.rows.candidates)
                    if c.works(s)
                }
                for s, stage in enumerate(search.stages)
            },
            "costs": {
                name: {"value": value, "unit": unit} for name, (value, unit) in self.costs().items()
            },
            "blocked_by": [
                {"limit": b.text, "excess": b.excess, "unit": b.unit, "where": b.where.strip()}
                for b in self.blockers()
            ],
            "wells_at_their_most": self.at_their_most(),
            "limits_that_fail": [] if step is None else step.broken,
            "answers": {} if step is None else step.outcome.answers,
            "warnings": self.warnings,
        }

    def text(self) -> str:
        """Everything in words for a terminal."""
        system = self.study.base.site.description.site.show
        flow, search = shown("flow", system), self.search
        lines = [
            f"{self.study.base.site.name} — {self.scheme}: {GOALS[search.goal]} of "
            f"{counted(len(self.rows.candidates), 'wells')}, "
            f"{counted(search.solves, 'solves')} of the model (at most {search.most_solves})",
            "",
        ]
        totals = self.totals()
        for s, stage in enumerate(search.stages):
            told = ", ".join(f"{name} {flow.text(item[s])}" for name, item in totals.items())
            lines.append(f"{stage}: {told}")
        if len(search.stages) > 1:
            told = ", ".join(f"{n} {flow.text(float(t.sum()))}" for n, t in totals.items())
            lines.append(f"all stages added up: {told}")
        lines += [shown_text(line, system) for line in self._verdict()]
        step = self.step
        if step is not None:
            lines += ["", "Wells"]
            lines += self._well_lines(step, flow)
        if step is not None and (more := self.fail_unasked(step)):
            lines += ["", "Limits that were not asked for, and fail:"]
            lines += [f"  - {shown_text(text, system)}" for text in more]
        if self.written is not None:
            lines += ["", f"Scheme '{self.new_scheme}' in {self.written}; run it with",
                      f'  wellring run {self.written} --scheme "{self.new_scheme}"']  # fmt: skip
        lines += [f"Note: {shown_text(text, system)}" for text in self.warnings]
        return "\n".join(lines) + "\n"

    def fail_unasked(self, step: Step) -> list[str]:
        """Labels of the answers that fail a limit which the search does not keep."""
        answers = step.outcome.answers
        return [
            str(answers[name]["label"])
            for name in step.broken
            if name in answers and not self.search.asked(name)
        ]

    def _saved(self) -> list[str]:
        """How much less is pumped than by the scheme as it stands, and at equal rates; the cost."""
        lines, before = [], float(self.own_flows.sum())
        if self.step is not None and before > 0:
            lines.append(f"{_part(self.step.total / before)} the scheme as it stands.")
            if self.equal is not None and self.equal.total > 0:
                share = self.step.total / self.equal.total
                lines.append(f"{_part(share)} the least equal rates of the same wells.")
            elif self.search.equal:
                lines.append(self._equal_fails())
        costs = self.costs()
        if costs:
            told = ", ".join(f"{name} {value:,.0f}" for name, (value, _) in costs.items())
            unit = next(iter(costs.values()))[1]
            lines.append(f"Cost [{unit}], an estimate, no quotation: {told}.")
        return lines

    def costs(self) -> dict[str, tuple[float, str]]:
        """What the model's runs cost in all with the currency: as it stands, at equal rates, sized.

        Empty where the scheme chosen tells none: no prices, or stages without days.
        """
        outcomes = {"as it stands": self.own}
        if self.equal is not None:
            outcomes["equal rates"] = self.equal.outcome
        if self.step is not None:
            outcomes["sized"] = self.step.outcome
        found = {}
        for name, outcome in outcomes.items():
            told = outcome.answers.get("cost")
            if told is not None and told["value"] is not None:
                found[name] = (float(told["value"]), str(told["unit"]))
        return found if "sized" in found else {}

    def _equal_fails(self) -> str:
        """Where the nearest equal rates that were tried fail."""
        tried = self.search.equal[-1]
        worst = max(tried.excess, key=lambda i: tried.excess[i], default=None)
        where = f" ({self.rows.limits[worst].text} fails)" if worst is not None else ""
        return f"No equal rates of the same wells were found to keep all limits{where}."

    def verdict_text(self) -> str:
        """Whether it is found, and what it saves, in a line."""
        return " ".join(line for line in self._verdict() if line)

    def blocked_text(self) -> str:
        """What blocks, in a line."""
        told = [blocker.words() for blocker in self.blockers()[:3]]
        more = len(self.blockers()) - len(told)
        if not told:
            return self.verdict_text()
        if not self.search.blocked:
            head = "Not found within the solves allowed. The nearest passes"
        elif self.dig_holds:
            head = "These wells keep the dig dry, but not all limits. Passed are"
        else:
            head = "These wells do not"
        return f"{head}: {'; '.join(told)}{f'; and {more} more' if more > 0 else ''}."

    def most_of(self, candidate: int) -> float:
        """The most a candidate could give with its whole screen under water [m³/s]."""
        return bound(self.rows.candidates[candidate])

    def _verdict(self) -> list[str]:
        step = self.step
        if step is None:
            return ["", "No flows were found that the model answers."]
        if self.found:
            kept = "" if self.search.keep_neighbours else " (neighbours' limits left aside)"
            confirmed = f"The model confirms: every stage is dry and all limits hold{kept}."
            return ["", confirmed, *self._saved()]
        blockers = self.blockers()
        if not blockers:
            return [
                "",
                "No flows were confirmed within the solves allowed; the nearest is told, and "
                "nothing is written. It does not mean that there are none. The model says: "
                f"{', '.join(step.broken) or 'a well gives less than asked'}.",
            ]
        if self.search.blocked:
            head = (
                "The dig can be kept dry, but not all limits. The least they are passed by:"
                if self.dig_holds
                else "These wells cannot do it. The least that is missing:"
            )
        else:
            head = (
                "No flows of these wells were found that keep all limits, and the linear programme "
                "about the last solves has none. The solves allowed are used up: what follows is "
                "the nearest that was solved, and may still be a little above the least. "
                + ("The dig is kept dry, and passed are:" if self.dig_holds else "Passed are:")
            )
        lines = ["", head, *(f"  - {item.words()}" for item in blockers)]
        most = self.at_their_most_text()
        if most and not self.dig_holds:
            lines.append(f"Wells that give all they can, and what governs them: {most}.")
        return lines

    def _well_lines(self, step: Step, flow: Any) -> list[str]:
        found = []
        for i, candidate in enumerate(self.rows.candidates):
            told = ", ".join(
                f"{stage} {flow.text(float(step.flows[s, i]))}"
                for s, stage in enumerate(self.search.stages)
                if step.flows[s, i] > 0
            )
            found.append(f"  {candidate.name}: {told or 'not needed'}")
        return found


def _part(share: float) -> str:
    return f"{1 - share:.1%} less water than" if share <= 1 else f"{share - 1:.1%} more water than"


def point_of(rows: Rows, outcome: Outcome) -> SolvedPoint:
    """An outcome as a solved point."""
    return SolvedPoint(rows.flows(outcome), rows.read(outcome))
