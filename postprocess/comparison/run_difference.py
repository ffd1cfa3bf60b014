"""Two runs beside each other: what differs in their inputs, and what in their answers."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from wellring.inputs.basics.units import shown
from wellring.postprocess.run.answer import Answer, Table
from wellring.postprocess.run.run_folder import ANSWERS_FILE, DESCRIPTION_FILE, RunFolder
from wellring.postprocess.run.summary import value_text

MOST_WORDS = 200
"""Letters of a value that are shown."""


@dataclass(frozen=True)
class Difference:
    """What differs from this run to another one.

    Parameters
    ----------
    inputs : sentences, one a differing key (by dotted path, SI), file or program.
    answers : the differing answers as texts.
    same : how many answers are the same.
    """

    other: str
    inputs: list[str]
    answers: Table
    same: int

    @property
    def text(self) -> str:
        """For a terminal."""
        lines = [f"Compared with {self.other}", "", "Inputs"]
        lines += [f"  - {sentence}" for sentence in self.inputs] or ["  the same"]
        head, rows = self.answers
        texts = [[str(value) for value in row] for row in rows]
        lines += ["", f"Answers ({self.same} are the same)"]
        if texts:
            widths = [max(len(row[k]) for row in [head, *texts]) for k in range(len(head))]
            for row in [head, *texts]:
                cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
                lines.append("  " + "  ".join(cells).rstrip())
        return "\n".join([*lines, ""])


def difference(run: RunFolder, other: RunFolder) -> Difference:
    """Compare the inputs and the answers of two finished runs.

    Raises
    ------
    InputFaults : `other` is no run folder.
    """
    name = f"{other.ledger.site}, {other.ledger.scheme} ({other.path.name})"
    sentences = list(_keys(_inputs_of(run), _inputs_of(other)))
    sentences += _files(run, other)
    table, same = _answers(run, other)
    return Difference(name, sentences, table, same)


def _inputs_of(run: RunFolder) -> dict[str, Any]:
    """The description with the run's own scheme as "scheme", without the other schemes."""
    path = run.path / DESCRIPTION_FILE
    if not path.is_file():
        return {}
    found = json.loads(path.read_text(encoding="utf-8"))
    schemes = found.pop("schemes", None) or []
    own = [scheme for scheme in schemes if scheme.get("name") == run.ledger.scheme]
    return found | {"scheme": own[0] if own else {"name": run.ledger.scheme}}


def _keys(here: Any, there: Any, path: str = "") -> Iterator[str]:
    """Sentences on every key that differs; lists of named tables are matched by their names."""
    here, there = _by_name(here), _by_name(there)
    if isinstance(here, dict) and isinstance(there, dict):
        for key in [*here, *(key for key in there if key not in here)]:
            place = f"{path}.{key}" if path else str(key)
            if key not in there:
                yield f"{place} is {_word(here[key])}; the other run does not have it"
            elif key not in here:
                yield f"{place} is missing; the other run has {_word(there[key])}"
            else:
                yield from _keys(here[key], there[key], place)
    elif here != there:
        yield f"{path} is {_word(here)} instead of {_word(there)}"


def _by_name(value: Any) -> Any:
    """A list of tables as a table: by names where each has one of its own, else by place."""
    if not isinstance(value, list) or not value or not all(isinstance(i, dict) for i in value):
        return value
    names = [item.get("name") for item in value]
    named = all(isinstance(name, str) for name in names) and len(set(names)) == len(names)
    keys = names if named else [str(number) for number in range(len(value))]
    return dict(zip(keys, value, strict=True))


def _word(value: Any) -> str:
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= MOST_WORDS else text[: MOST_WORDS - 1] + "…"


def _files(run: RunFolder, other: RunFolder) -> Iterator[str]:
    here, there = (dict(item.provenance["inputs"]["files"]) for item in (run, other))
    for name in sorted({*here, *there}):
        if name not in there:
            yield f"file {name} is read here only"
        elif name not in here:
            yield f"file {name} is read by the other run only"
        elif here[name] != there[name]:
            yield f"file {name} has another content ({here[name][:12]}, {there[name][:12]})"
    for label, key in (("wellring", None), ("MODFLOW 6", "solver")):
        pair = [p["wellring"] if key is None else p[key]["version"] for p in _both(run, other)]
        if pair[0] != pair[1]:
            yield f"{label} {pair[0]} instead of {pair[1]}"


def _both(run: RunFolder, other: RunFolder) -> tuple[dict[str, Any], dict[str, Any]]:
    return run.provenance, other.provenance


def read_answers(run: RunFolder) -> dict[str, Answer]:
    """The answers as they were written."""
    raw = json.loads((run.path / ANSWERS_FILE).read_text(encoding="utf-8"))
    return {name: Answer(**item) for name, item in raw.items()}


def _answers(run: RunFolder, other: RunFolder) -> tuple[Table, int]:
    here, there = read_answers(run), read_answers(other)
    system = run.ledger.show
    rows: list[tuple[str, str, str, str]] = []
    same = 0
    for name in [*here, *(name for name in there if name not in here)]:
        mine, its = here.get(name), there.get(name)
        texts = ["–" if item is None else value_text(item, system) for item in (mine, its)]
        if texts[0] == texts[1]:
            same += 1
            continue
        label = (mine or its).label  # type: ignore[union-attr]
        rows.append((label, texts[0], texts[1], _change(mine, its, system)))
    return (["answer", "this run", "the other", "change"], list(rows)), same


def _change(mine: Answer | None, its: Answer | None, system: str) -> str:
    if mine is None or its is None:
        return "only in one"
    pair = (mine.value, its.value)
    if not all(isinstance(value, int | float) for value in pair):
        return ""
    step = float(mine.value) - float(its.value)  # type: ignore[arg-type]
    if mine.kind in ("flow", "length", "level", "settlement", "area", "volume"):
        scale = shown(mine.kind, system)
        text = f"{step * scale.factor:+,.{scale.digits}f} {scale.unit}"
    else:
        text = f"{step:+.3g}"
    if mine.kind == "level" or not its.value:
        return text
    return f"{text} ({step / abs(float(its.value)):+.1%})"
