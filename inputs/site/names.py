"""Names of walls and of drainage tables: as given, or made from kind and order."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from wellring.inputs.site.drainage import Drainage
from wellring.inputs.site.walls import Wall

NATURAL = "before the work"
"""Name of the stage without dig, walls and pumps, which stands before the site's own."""


def wall_names(walls: Sequence[Wall]) -> list[str]:
    """The name of each wall: the one given, else its kind and its number in the list."""
    return [wall.name or f"{wall.kind} {index + 1}" for index, wall in enumerate(walls)]


def drainage_names(drainage: Sequence[Drainage]) -> list[str]:
    """What the points of each drainage table are called before their number."""
    alone = len(drainage) == 1
    return [
        table.name or ("W" if alone else f"W{index + 1}-") for index, table in enumerate(drainage)
    ]


def repeated(names: Iterable[str]) -> list[tuple[int, int]]:
    """(index, index of the first like it) of names that another before them has.

    Case and spaces do not tell names apart: tables and maps are read by people.
    """
    seen: dict[str, int] = {}
    found = []
    for index, name in enumerate(names):
        first = seen.setdefault(" ".join(name.split()).casefold(), index)
        if first != index:
            found.append((index, first))
    return found
