"""Changes to the text of MODFLOW 6 files that are already written; no other module edits them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from wellring.model.mf6.build import MODEL

_FULL = "full.npf"
_PSEUDO_TIME = "pseudo_time.sto"


def with_block(text: str, name: str, rows: str) -> str:
    """The text with other rows between BEGIN and END of its first block `name` (a pattern)."""
    return re.sub(
        rf"(?is)(begin\s+{name}[^\n]*\n).*?(\n\s*end\s+{name})",
        lambda found: f"{found.group(1)}{rows}{found.group(2)}",
        text,
        count=1,
    )


def with_rows(text: str, rows: str) -> str:
    """A list file with other rows in its period and their number in its dimensions."""
    count = rows.count("\n") + 1
    text = re.sub(r"(?im)^(\s*max(?:bound|hfb)\s+)\d+", rf"\g<1>{count}", text)
    return with_block(text, r"period\s+1", rows)


def counted_from_one(row: Any, indices: int) -> str:
    """A row as text, its first `indices` numbers and its cells counted from 1."""
    words = []
    for position, value in enumerate(row):
        if isinstance(value, tuple):
            words += [str(index + 1) for index in value]
        elif position < indices:
            words.append(str(value + 1))
        else:
            words.append(repr(float(value)) if isinstance(value, float) else str(value))
    return "  " + " ".join(words)


def set_well_rows(folder: Path, rows: Sequence[Sequence[object]]) -> None:
    """Write the period rows of a stage's wells (index from 0 first) in place of the old ones."""
    lines = [" ".join(["", str(int(str(well)) + 1), *map(str, rest)]) for well, *rest in rows]
    path = folder / "maw.dat"
    text = re.sub(r"(?is)begin period\s+1.*?end period\s+1", "", path.read_text()).rstrip()
    path.write_text(text + "\n\nBEGIN period  1\n" + "\n".join(lines) + "\nEND period  1\n")


def set_model_options(folder: Path, newton_relaxed: bool, pseudo_time: bool) -> None:
    """Write Newton's under-relaxation and the storage of pseudo-time into the list of packages."""
    path = folder / f"{MODEL}.nam"
    text = re.sub(
        r"(?im)^\s*newton.*$",
        f"  NEWTON{'  UNDER_RELAXATION' * newton_relaxed}",
        path.read_text(),
    )
    text = re.sub(rf"(?im)^\s*sto6\s+{re.escape(_PSEUDO_TIME)}.*\n", "", text)
    if pseudo_time:
        text = re.sub(
            r"(?im)^(\s*end packages)", rf"  STO6  {_PSEUDO_TIME}  sto\n\1", text, count=1
        )
    path.write_text(text)


@contextmanager
def full_layers(folder: Path) -> Iterator[None]:
    """A stage with all layers full of water, without a water table, as long as this lasts.

    Its own files stay as they are: they may be linked to other cases solved at this moment.
    """
    cells, names = folder / _FULL, folder / f"{MODEL}.nam"
    text = (folder / f"{MODEL}.npf").read_text()
    cells.write_text(re.sub(r"(?i)(icelltype\s+constant\s+)1", r"\g<1>0", text))
    names.write_text(names.read_text().replace(f"{MODEL}.npf", _FULL))
    try:
        yield
    finally:
        names.write_text(names.read_text().replace(_FULL, f"{MODEL}.npf"))
        cells.unlink()
