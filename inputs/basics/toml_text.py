"""TOML files read with the line each key stands on, which tomllib does not tell."""

from __future__ import annotations

import re
import stat
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from wellring.inputs.basics.faults import FaultLog

_LARGEST_FILE = 5_000_000
_PART = r"""(?:[A-Za-z0-9_\-]+|"[^"]*"|'[^']*')"""
_NAME = rf"({_PART}(?:\s*\.\s*{_PART})*)"
_HEADER = re.compile(rf"^\s*(\[\[?)\s*{_NAME}\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(rf"^\s*{_NAME}\s*=")


@dataclass
class TomlFaults(FaultLog):
    """Faults of a TOML file, which get the line of their place, and of files it names.

    Parameters
    ----------
    file : the TOML file as messages name it.
    lines : line of each dotted place in it.
    """

    file: str = ""
    lines: Mapping[str, int] = field(default_factory=dict)

    def add(
        self,
        file: str | Path,
        place: str,
        value: object,
        expected: str,
        remedy: str = "",
        line: int | None = None,
    ) -> None:
        """Record one fault, on the line of its place."""
        if line is None and str(file) == self.file:
            line = line_of(place, self.lines)
        super().add(file, place, value, expected, remedy, line)


def load_toml(path: Path, faults: FaultLog) -> tuple[dict[str, Any], dict[str, int]] | None:
    """The tables of a TOML file and the line of each dotted key, or None with faults added.

    Lines are found by a scan of the text: keys inside inline tables have their table's line.
    """
    try:
        state = path.stat()
        if not (stat.S_ISREG(state.st_mode) or stat.S_ISDIR(state.st_mode)):
            # A pipe or a device may never end.
            faults.add(path.name, "the file", None, "a file, not a pipe or device")
            return None
        if state.st_size > _LARGEST_FILE:
            faults.add(path.name, "the file", f"{state.st_size} bytes", "a site file under 5 MB")
            return None
        data = path.read_bytes()
        text = data.decode("utf-8-sig")
        return tomllib.loads(text.replace("\r\n", "\n")), _lines(text)
    except FileNotFoundError:
        faults.add(path, "the file", None, "a site file to be there", "Check the path.")
    except (IsADirectoryError, PermissionError, OSError) as error:
        faults.add(path, "the file", None, "a readable site file", f"{error.strerror or error}.")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        faults.add(
            path.name,
            "the line",
            None,
            "text in UTF-8",
            f"A byte {data[error.start]:02x} stands in it; save the file with UTF-8 encoding.",
            line,
        )
    except tomllib.TOMLDecodeError as error:
        _explain(path.name, text, error, faults)
    except RecursionError:
        faults.add(path.name, "the text", None, "tables nested less deeply")
    return None


def _explain(file: str, text: str, error: tomllib.TOMLDecodeError, faults: FaultLog) -> None:
    found = re.search(r"line (\d+)", str(error))
    rows = text.split("\n")
    number = int(found.group(1)) if found else len(rows)
    faults.add(
        file,
        "the line",
        rows[number - 1].split(" #")[0].strip() or None,
        'TOML, such as key = 4.0, key = "text" or [table]',
        f"{error}. Text goes in quotes, numbers have a decimal point, keys stand once a table.",
        number,
    )


def _lines(text: str) -> dict[str, int]:
    found: dict[str, int] = {}
    counts: dict[str, int] = {}
    prefix = ""
    for number, line in enumerate(text.split("\n"), start=1):
        header = _HEADER.match(line)
        if header:
            prefix = _numbered(_plain(header.group(2)), header.group(1) == "[[", counts)
            found.setdefault(prefix, number)
            continue
        key = _KEY.match(line)
        if key:
            found.setdefault(f"{prefix}.{_plain(key.group(1))}".strip("."), number)
    return found


def _numbered(name: str, repeated: bool, counts: dict[str, int]) -> str:
    """The dotted name of a table with the indices of the arrays of tables it lies in."""
    parts = name.split(".")
    path = ""
    for depth, part in enumerate(parts):
        path = f"{path}.{part}".strip(".")
        last = depth == len(parts) - 1
        if last and repeated:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = f"{path}.{counts[path]}"
    return path


def _plain(name: str) -> str:
    return ".".join(part.strip().strip("\"'") for part in name.split("."))


def line_of(place: str, lines: Mapping[str, int]) -> int | None:
    """Line of a dotted place, or of the first entry in it, or of the nearest table around it."""
    while place:
        if f"{place}.0" in lines:
            return lines[f"{place}.0"]
        if place in lines:
            return lines[place]
        place = place.rpartition(".")[0]
    return None
