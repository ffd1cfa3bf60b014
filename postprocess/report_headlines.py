"""The five questions at the head of a report, each answered in one plain sentence."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from wellring.inputs.basics.units import shown
from wellring.postprocess.answers import Answers
from wellring.postprocess.run.answer import Answer, Part
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.run.summary import value_text
from wellring.postprocess.stability.pump_stop import pump_stop
from wellring.postprocess.stability.pump_stop_answers import verdict_text

YES, NO, WATCH, OPEN = "yes", "no", "watch", "open"


@dataclass(frozen=True)
class Headline:
    """A question and its answer: `verdict` is "yes", "no", "watch" or "open" (not judged)."""

    question: str
    verdict: str
    sentence: str
    basis: str

    @property
    def word(self) -> str:
        """The verdict as a word, so that no colour is needed to read it; none for "watch"."""
        return {YES: "Yes", NO: "No", WATCH: "", OPEN: "Not judged"}[self.verdict]


def headlines(run: RunFolder, answers: Answers) -> list[Headline]:
    """Dry? Stable? May the pumps stop (with a slab)? Neighbours? Water? How sure? In this order."""
    return [
        _dry(run, answers),
        _judged(
            run,
            "Is the floor of the dig stable?",
            _part(answers, "stability"),
            "Not assessed in this run: nobody has shown that the floor does not heave, boil or "
            "break.",
        ),
        *_pumps_stop(run, answers),
        _neighbours(run, answers),
        _water(run, answers),
        _sure(run, answers),
    ]


def bare_text(answer: Answer, system: str) -> str:
    """An answer's value as text, without limit and verdict."""
    text = value_text(replace(answer, ok=None), system)
    return text.removesuffix(" 1") if answer.unit == "1" else text


def limit_text(answer: Answer, system: str) -> str:
    """An answer's limit as text; empty where none applies."""
    if answer.limit is None:
        return ""
    return bare_text(replace(answer, value=answer.limit, label=""), system)


def _part(answers: Answers, subject: str) -> Part | None:
    """What the parts with a word in their title say together; None where there are none."""
    parts = [part for part in answers.parts if subject in part.title.lower()]
    found = Part(
        answers={name: item for part in parts for name, item in part.answers.items()},
        warnings=[text for part in parts for text in part.warnings],
        title=", ".join(part.title for part in parts),
    )
    return found if found.answers or found.warnings else None


def _dry(run: RunFolder, answers: Answers) -> Headline:
    question, system = "Does the dig stay dry?", run.ledger.show
    flooded = _flooded(run, answers)
    names = ("dry_margin", "margin_on_arrival")
    found = [a for n, a in answers.answers.items() if n.rsplit(".", 1)[-1] in names]
    known = [a for a in found if isinstance(a.value, float | int)]
    if not known:
        basis = found[0].basis if found else "no stage is dug"
        if flooded:
            return Headline(question, NO, flooded, basis)
        return Headline(
            question,
            OPEN,
            "Not judged: the floor is tight soil, whose own water does not rise into the dig.",
            basis,
        )
    worst = min(known, key=_to_spare)
    value, limit = bare_text(worst, system), limit_text(worst, system)
    stage = worst.label.rsplit(": ", 1)[0]
    if _to_spare(worst) >= -1e-3:
        if flooded:
            return Headline(question, NO, flooded, worst.basis)
        text = f"In every stage the water stays {value} or more below the floor ({stage}); "
        return Headline(question, YES, text + f"{limit} is needed.", worst.basis)
    if _number(worst) < 0:
        above = bare_text(replace(worst, value=-_number(worst)), system)
        text = f"In {stage} the water stands {above} above the floor; it should be {limit} below."
    else:
        text = f"In {stage} the water is only {value} below the floor; {limit} is needed."
    return Headline(question, NO, f"{text} {flooded}".rstrip(), worst.basis)


def _flooded(run: RunFolder, answers: Answers) -> str:
    """Where most water comes to a sump that cannot take it, in words; else nothing."""
    over = [
        (result.sump, result.entry.name)
        for result in answers.stages
        if result.sump is not None and result.sump.floods
    ]
    if not over:
        return ""
    flow = shown("flow", run.ledger.show)
    load, stage = max(over, key=lambda item: item[0].flow)
    return (
        f"In {stage} {flow.text(load.flow)} come to the sump and its pumps take "
        f"{flow.text(load.capacity)}: the pit floods."
    )


def _to_spare(margin: Answer) -> float:
    """How much deeper than needed the water stands [m]."""
    return _number(margin) - (margin.limit or 0.0)


def _judged(run: RunFolder, question: str, part: Part | None, missing: str) -> Headline:
    """A part's own verdicts: the worst of those that fail, else the closest of those that hold."""
    if part is None:
        return Headline(question, OPEN, missing, "no such part among the answers")
    limited = [answer for answer in part.answers.values() if answer.ok is not None]
    bad = [answer for answer in limited if answer.ok is False]
    if bad:
        worst = min(bad, key=_spare)
        more = f" {len(bad)} of {len(limited)} checks fail." if len(bad) > 1 else ""
        return Headline(question, NO, _told(run, worst) + more, worst.basis)
    if limited:
        closest = min(limited, key=_spare)
        many = f"All {len(limited)} checks hold; the closest: " if len(limited) > 1 else ""
        return Headline(question, YES, many + _told(run, closest), closest.basis)
    said = [*part.warnings, *(_told(run, answer) for answer in part.answers.values())]
    return Headline(question, WATCH, f"No limit is given. {said[0]}", part.title)


def _pumps_stop(run: RunFolder, answers: Answers) -> list[Headline]:
    """Whether the pumps may stop; nothing where no slab is cast."""
    found = pump_stop(run, answers.stages)
    if found is None:
        return []
    verdict = {True: WATCH if found.must_seal else YES, False: NO, None: OPEN}[found.holds]
    text = verdict_text(run, found)
    basis = answers.answers["pumping_may_stop"].basis
    return [Headline("May the pumps stop?", verdict, f"{text[0].upper()}{text[1:]}.", basis)]


def _neighbours(run: RunFolder, answers: Answers) -> Headline:
    question, system = "Are the neighbours safe?", run.ledger.show
    part = _part(answers, "neighbour")
    count, worst = (answers.answers.get(f"neighbours.{n}") for n in ("over_limit", "worst"))
    if count is not None and count.ok is not None and worst is not None:
        many = int(_number(count))
        told = "No neighbour is over a limit" if not many else f"{many} over a limit"
        text = f"{told}. The one nearest to its limit: {worst.value}."
        if many:
            text = f"{told}. The worst: {worst.value}."
        return Headline(question, YES if count.ok else NO, text, count.basis)
    if part is not None:
        return _judged(run, question, part, "")
    reach = _largest(answers, "reach")
    settled = _largest(answers, "settlement_largest")
    if reach is None:
        return Headline(question, OPEN, "Not assessed in this run.", "no stage is dug")
    text = f"No neighbour is judged here. The drawdown reaches {bare_text(reach, system)} far"
    if settled is not None:
        text += f" and the ground outside settles by up to {bare_text(settled, system)}"
    return Headline(question, WATCH, f"{text}.", (settled or reach).basis)


def _water(run: RunFolder, answers: Answers) -> Headline:
    question, system = "How much water is there to pump?", run.ledger.show
    most = _largest(answers, "inflow_total")
    if most is None:
        return Headline(question, OPEN, "No stage is dug.", "")
    stage = most.label.rsplit(": ", 1)[0]
    text = f"{bare_text(most, system)} at most in a steady state ({stage})"
    peak, volume = answers.answers.get("time.peak_flow"), answers.answers.get("time.volume")
    if peak is not None:
        text += f"; over time up to {bare_text(peak, system)}"
    if volume is not None:
        text += f", {bare_text(volume, system)} in all"
    return Headline(question, WATCH, f"{text}.", most.basis)


def _sure(run: RunFolder, answers: Answers) -> Headline:
    question, system = "How sure is that?", run.ledger.show
    said = []
    balance = answers.answers["mass_balance_error"]
    grid = answers.answers.get("grid_error")
    farther = answers.answers.get("farther_source_inflow")
    if grid is not None:
        said.append(f"the grid's own error is about {bare_text(grid, system)} of the inflow")
    level = answers.answers.get("grid_error_level")
    if level is not None:
        said.append(f"about {bare_text(level, system)} of the water's level under the floor")
    if farther is not None:
        said.append(f"a source twice as far changes it by {bare_text(farther, system)}")
    said.append(f"the mass balance closes to {bare_text(balance, system)}")
    text = "; ".join(said)
    text = (
        f"{text[0].upper()}{text[1:]}. None of this holds the soil's own uncertainty: "
        "conductivity is rarely known within a factor of three."
    )
    basis = "; ".join(item.basis for item in (grid, farther, balance) if item is not None)
    return Headline(question, WATCH if balance.ok else NO, text, basis)


def _told(run: RunFolder, answer: Answer) -> str:
    system = run.ledger.show
    limit = limit_text(answer, system)
    return f"{answer.label} is {bare_text(answer, system)}" + (
        f" (limit {limit})." if limit else "."
    )


def _largest(answers: Answers, name: str) -> Answer | None:
    found: Iterable[Answer] = (
        answer
        for key, answer in answers.answers.items()
        if key.endswith(f".{name}") and isinstance(answer.value, float | int)
    )
    return max(found, key=_number, default=None)


def _number(answer: Answer) -> float:
    return float(answer.value) if isinstance(answer.value, float | int) else float("inf")


def _spare(answer: Answer) -> float:
    """How far an answer is from its limit as a part of it; negative where it fails."""
    value, limit = _number(answer), answer.limit
    if limit is None or not value < float("inf"):
        return 0.0 if answer.ok is False else float("inf")
    away = abs(value - limit) / max(abs(limit), 1e-9)
    return -away if answer.ok is False else away
