"""One headline answer, and what one subject of assessment adds to a run's answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

Table = tuple[list[str], list[Sequence[object]]]
"""Headings with units, and rows in SI."""


@dataclass(frozen=True)
class Answer:
    """One headline number in SI: `ok` is None where no limit applies."""

    value: float | str | None
    unit: str
    basis: str
    label: str
    kind: str = ""
    limit: float | None = None
    ok: bool | None = None


@dataclass
class Part:
    """What one subject (stability, settlement, operation …) adds to a run.

    Parameters
    ----------
    answers : headline numbers by name; names of one stage begin with the stage's folder.
    warnings : sentences for the user, also where a method leaves its range of validity.
    assumptions : values or methods that the user did not give, each with its source.
    tables : name of the CSV file without its ending → headings and rows.
    """

    answers: dict[str, Answer] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)
    tables: dict[str, Table] = field(default_factory=dict)
