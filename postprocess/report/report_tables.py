"""Tables of a report: answers with a column a stage, and the CSV tables in shown units."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from wellring.inputs.basics.shown_text import shown_text
from wellring.inputs.basics.units import Shown, shown
from wellring.postprocess.figures.style import plain
from wellring.postprocess.report_headlines import bare_text, limit_text
from wellring.postprocess.run.answer import Answer, Table

MOST_ROWS = 1500
"""Rows of a table in the page; all of them are in its CSV file."""
_UNIT = re.compile(r"^(.*?)\s*\[([^\]]*)\]$")


@dataclass(frozen=True)
class Cell:
    """A cell: its text, what it sorts by, its verdict ("ok", "bad" or ""), where it leads to."""

    text: str
    sort: float | str = ""
    verdict: str = ""
    number: bool = False
    link: str = ""


@dataclass
class PageTable:
    """A table of the page; `note` stands below it."""

    name: str
    head: list[str]
    rows: list[list[Cell]] = field(default_factory=list)
    note: str = ""

    @property
    def caption(self) -> str:
        """Its name in words."""
        return self.name.replace("_", " ").capitalize()


def answer_table(
    system: str, stages: Mapping[str, str], name: str, answers: Mapping[str, Answer]
) -> PageTable | None:
    """Answers as one table: a column a stage for those of stages, one "all" for the others.

    `stages` are their names by folder.
    """
    rows: dict[str, dict[str, Answer]] = {}
    for key, answer in answers.items():
        folder, _, rest = key.partition(".")
        if folder in stages and rest:
            rows.setdefault(rest, {})[folder] = answer
        else:
            rows.setdefault(key, {})[""] = answer
    if not rows:
        return None
    used = [folder for folder in stages if any(folder in row for row in rows.values())]
    whole = any("" in row for row in rows.values())
    limited = any(a.ok is not None or a.limit is not None for a in answers.values())
    over_all = "All stages" if stages else "Answer"
    head = ["What", *(plain(stages[folder]) for folder in used), *([over_all] if whole else [])]
    head += ["Limit"] if limited else []
    table = PageTable(name, [*head, "Basis"])
    for row in rows.values():
        where, first = next(iter(row.items()))
        places = [*used, *([""] if whole else [])]
        label = first.label.removeprefix(f"{stages.get(where, '')}: ")
        label = plain(shown_text(label, system), 160)
        cells = [Cell(label, label)]
        cells += [_answer_cell(row[f], system) if f in row else Cell("") for f in places]
        if limited:
            told = [limit_text(answer, system) for answer in row.values()]
            cells.append(Cell(next((text for text in told if text), ""), number=True))
        bases = dict.fromkeys(answer.basis for answer in row.values())
        last = list(row.values())[-1].basis
        basis = last if len(bases) > 1 else first.basis
        cells.append(Cell(plain(shown_text(basis, system), 700)))
        table.rows.append(cells)
    return table


def _answer_cell(answer: Answer, system: str) -> Cell:
    verdict = "" if answer.ok is None else "ok" if answer.ok else "bad"
    sort = float(answer.value) if isinstance(answer.value, int | float) else str(answer.value)
    number = isinstance(answer.value, int | float)
    return Cell(plain(bare_text(answer, system), 200), sort, verdict, number)


def csv_table(system: str, name: str, table: Table) -> PageTable:
    """A table of a CSV file with its lengths, flows … in shown units."""
    head, rows = table
    scales = [_scale(title, system) for title in head]
    titles = [title for title, _ in scales]
    page = PageTable(name, titles)
    rows = list(rows)
    for row in rows[:MOST_ROWS]:
        page.rows.append([_cell(value, unit) for value, (_, unit) in zip(row, scales, strict=True)])
    if len(rows) > MOST_ROWS:
        page.note = f"The first {MOST_ROWS:,} of {len(rows):,} rows; all are in tables/{name}.csv."
    return page


def _scale(title: str, system: str) -> tuple[str, Shown | None]:
    """A heading in shown units, and how its column is shown; coordinates stay in metres."""
    found = _UNIT.match(title)
    if not found:
        return title, None
    words, unit = found[1], found[2]
    if re.search(r"\b[xy]$", words):
        return title, Shown("m", 1.0, 2)
    kind = {"m": "length", "m3/s": "flow", "m2": "area", "m3": "volume"}.get(unit)
    if kind is None:
        return title, None
    if kind == "length" and "settle" in words:
        kind = "settlement"
    shown_unit = shown(kind, system)
    return f"{shown_text(words, system)} [{shown_unit.unit}]", shown_unit


def _cell(value: Any, unit: Shown | None) -> Cell:
    if value is None:
        return Cell("")
    if isinstance(value, bool):
        return Cell("yes" if value else "no", "yes" if value else "no")
    if not isinstance(value, int | float):
        try:
            value = value.item()  # a number of numpy's own
        except AttributeError:
            word = _verdict(str(value))  # which the page says in words of its own
            return Cell("" if word else plain(str(value), 300), str(value), word)
        return _cell(value, unit)
    if value != value:
        return Cell("")
    if unit is not None:
        return Cell(f"{unit.number(value):,.{unit.digits}f}".replace("-", "−"), value, number=True)
    large = isinstance(value, int) or 1e4 <= abs(value) < 1e12
    text = f"{value:,.0f}" if large else f"{value:.4g}"
    return Cell(text.replace("-", "−", 1) if text.startswith("-") else text, value, number=True)


def _verdict(text: str) -> str:
    good, bad = ("ok", "holds"), ("not ok", "NOT OK", "fails")
    return "ok" if text in good else "bad" if text in bad else ""


def plain_table(name: str, head: list[str], rows: Iterable[Iterable[object]]) -> PageTable:
    """A table of texts and numbers as they are."""
    return PageTable(name, head, [[_cell(value, None) for value in row] for row in rows])
