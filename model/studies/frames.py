"""Answers of many variants as tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from wellring.model.studies.variants import Outcome, Variant

if TYPE_CHECKING:
    import pandas


def variants_frame(variants: Sequence[Variant], outcomes: Sequence[Outcome]) -> pandas.DataFrame:
    """One row a variant: scheme, overrides by path, "failed", and answers that are numbers."""
    import pandas

    rows = []
    for variant, outcome in zip(variants, outcomes, strict=True):
        row: dict[str, Any] = {"scheme": variant.scheme, **variant.overrides}
        row["failed"] = outcome.failed
        row |= {heading(name, a): a["value"] for name, a in _numbers(outcome).items()}
        rows.append(row)
    return pandas.DataFrame(rows)


def heading(name: str, answer: dict[str, Any]) -> str:
    """An answer's name with its unit, as tables head it."""
    return f"{name} [{answer['unit']}]" if answer.get("unit") else name


def answer_names(outcomes: Sequence[Outcome]) -> dict[str, dict[str, Any]]:
    """All answers that are numbers in some variant, with the entry of the first that has it."""
    found: dict[str, dict[str, Any]] = {}
    for outcome in outcomes:
        for name, answer in _numbers(outcome).items():
            found.setdefault(name, answer)
    return found


def _numbers(outcome: Outcome) -> dict[str, dict[str, Any]]:
    return {
        name: answer
        for name, answer in outcome.answers.items()
        if answer["value"] is None
        or (isinstance(answer["value"], int | float) and not isinstance(answer["value"], bool))
    }
