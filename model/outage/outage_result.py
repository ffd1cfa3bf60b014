"""A finished outage: its answers in words, as JSON and as an exit code."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from wellring.model.outage.one_out import OneOut
from wellring.postprocess.operation.flood_answers import FloodAnswers, hours_text
from wellring.postprocess.operation.standby import BY_ITSELF, StandbyNeed


@dataclass
class OutageRun:
    """A finished outage: its folder, its answers, what each unit out of work means, and what must
    stand by."""

    folder: Path
    answers: FloodAnswers
    singles: list[OneOut] | None
    need: StandbyNeed | None
    not_written: list[str] = field(default_factory=list)
    """Figures and pages that could not be written, one sentence each."""

    @property
    def exit_code(self) -> int:
        """1 where the worst answer is no.

        Standby power is late; none is named and a plug is at its limit sooner than a crew can act;
        or a plug does not hold with one well or header out.
        """
        answers = self.answers
        burst = answers.first_burst
        at_once = burst is not None and (burst.hours or 0.0) < BY_ITSELF
        lifted = any(item.kind == "unit" and item.holds is False for item in self.singles or ())
        unmet = answers.standby_hours is None and at_once
        return 1 if answers.standby_ok is False or unmet or lifted else 0

    def as_json(self) -> dict[str, Any]:
        """For ``--json``."""
        singles = (
            None
            if self.singles is None
            else [{**asdict(item), "ok": item.ok} for item in self.singles]
        )
        return {
            **self.answers.as_json(),
            "one_out": singles,
            "standby_needed": None if self.need is None else self.need.as_json(),
        }

    def text(self) -> str:
        """For a terminal."""
        singles = singles_text(self.singles, self.answers)
        need = f"\nWhat must stand by: {self.need.text()}\n" if self.need else ""
        return f"{self.answers.text()}{singles}{need}"


def may_not_fail(singles: list[OneOut] | None) -> list[str] | None:
    """Names of wells and headers without which the stage fails; None where that was not solved."""
    if singles is None:
        return None
    return [
        item.unit
        for item in singles
        if item.kind == "unit" and (item.ok is False or item.flow is None)
    ]


def singles_text(singles: list[OneOut] | None, answers: FloodAnswers) -> str:
    """What one unit, and one drainage table, out of work means, for a terminal."""
    if singles is None:
        return "One well out at a time: not asked for.\n"
    lines = []
    for kind, heading in (
        (
            "unit",
            "One well (or header) out at a time, all others within their limits, steady state:",
        ),
        ("table", "One drainage table out at a time:"),
    ):
        own = [item for item in singles if item.kind == kind]
        lines += [heading] * bool(own) + [f"  {_single_text(item, answers)}" for item in own]
    alone = [item for item in singles if item.kind == "unit"]
    critical = may_not_fail(singles) or []
    if critical:
        lines.append(f"NOT redundant: {len(critical)} of {len(alone)} may not fail.")
    elif any(item.ok is None for item in alone):
        lines.append("Whether the scheme is redundant is NOT judged.")
    else:
        lines.append("The scheme keeps its clearance and its floor with any one of them out.")
    return "\n".join(lines) + "\n"


def _single_text(item: OneOut, answers: FloodAnswers) -> str:
    name = f"{item.unit} ({item.points} points) out" if item.points > 1 else f"{item.unit} out"
    if item.flow is None:
        return f"{name}: no steady state found: {item.why}"
    if item.margin is None:
        told = "the floor is all tight soil, which the water's level does not judge"
    else:
        verdict = "dry" if item.dry else "NOT DRY"
        side = "below" if item.margin >= 0.0 else "above"
        told = f"water {answers.length(abs(item.margin))} {side} formation: {verdict}"
    told += f" ({item.why})" if item.why else ""
    if item.uplift is not None:
        verdict = {True: "holds", False: "floor NOT HELD", None: "not judged"}[item.holds]
        told += f"; {item.floor}: {verdict}"
        if item.burst_hours is not None:
            told += f", at its limit after {hours_text(item.burst_hours)} or later (Theis)"
    return f"{name}: {told}"
