"""Sections that a review adds to a report: what was checked again, what differs from a run."""

from __future__ import annotations

from typing import Protocol

from wellring.postprocess.comparison.run_difference import Difference
from wellring.postprocess.figures.style import plain
from wellring.postprocess.report.report_sections import Subject
from wellring.postprocess.report.report_tables import Cell, PageTable, plain_table


class Reviewed(Protocol):
    """What a review tells, as :class:`wellring.model.runs.review.Review`."""

    checks: list[tuple[str, bool | None, str]]

    @property
    def reproduces(self) -> bool:
        """Whether nothing failed."""

    @property
    def tolerance(self) -> str:
        """The tolerances in words."""


def review_sections(review: Reviewed | None, unlike: Difference | None) -> list[Subject]:
    """The sections, in the order in which they are read."""
    found = []
    if review is not None:
        table = PageTable("checked_again", ["What", "Found"])
        verdicts = {True: "ok", False: "bad", None: ""}
        for what, holds, told in review.checks:
            text = told if holds is not None else f"not checked: {told}"
            found_cell = Cell(plain(text, 900), verdict=verdicts[holds])
            table.rows.append([Cell(plain(what, 200)), found_cell])
        said = "Nothing that could be checked failed." if review.reproduces else "Something fails."
        found.append(Subject("Review", "s-review", [table], notes=[said, review.tolerance]))
    if unlike is not None:
        head, rows = unlike.answers
        texts = plain_table("answers_that_differ", head, rows)
        inputs = plain_table("inputs_that_differ", ["What"], [[text] for text in unlike.inputs])
        notes = [f"Compared with {plain(unlike.other, 200)}; {unlike.same} answers are the same."]
        found.append(Subject("Beside another run", "s-beside", [inputs, texts], notes=notes))
    return found
