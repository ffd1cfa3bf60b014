"""Whether what the solver wrote can be read: ending normally is not enough.

A disk that filled up, a network drive that went away or a hand that was quicker leave files that
are cut short, empty or gone although MODFLOW 6 said that it ended normally.
"""

from __future__ import annotations

import csv
import math
import os
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wellring.model.mf6.build import MODEL, WELLS_CSV
from wellring.postprocess.run.run_folder import BUDGET_CSV

Floats = NDArray[np.float64]

_LAYER_HEADER = 52
"""Bytes before the heads of a layer: step, period, two times, a word, columns, rows, layer."""
_WHOLE_ARRAY, _LIST = 1, 6
"""How MODFLOW 6 stores flows: of all cells or connections, or of listed cells."""
_FACES = "FLOW-JA-FACE"
_OF_PACKAGE = {"STO6": ("STO-SS", "STO-SY")} | dict.fromkeys(
    ("DIS6", "NPF6", "IC6", "HFB6", "OC6"), ()
)
"""What packages save that are no boundaries; every boundary saves one list under its own name."""


def spoilt(folder: Path) -> str:
    """What of a stage's output cannot be read, in words; "" when all can."""
    name, why = spoilt_file(folder)
    return f"what it wrote cannot be read: {name}: {why}" if name else ""


def spoilt_file(folder: Path, listing: bool = True) -> tuple[str, str]:
    """The first file of a stage's output that cannot be read, and why; ("", "") when all can.

    Parameters
    ----------
    listing : the listing is needed too, which only the budget's error is read from.
    """
    told = _Told()
    checks: list[tuple[str, Callable[[Path], str]]] = [
        (f"{MODEL}.nam", told.read_packages),
        (f"{MODEL}.dis.grb", told.read_grid),
        (f"{MODEL}.hds", lambda path: _heads(path, told)),
        (f"{MODEL}.bud", lambda path: _budget(path, told)),
    ]
    if listing:
        checks.insert(0, (f"{MODEL}.lst", lambda path: ""))
    if (folder / "maw.dat").exists():
        checks.append((WELLS_CSV, lambda path: _lines(path, told.time)))
    if (folder / BUDGET_CSV).exists():
        checks.append((BUDGET_CSV, lambda path: _lines(path, told.time)))
    for name, check in checks:
        path = folder / name
        try:
            why = check(path) if path.stat().st_size else "it is empty"
        except FileNotFoundError:
            why = "it is not there"
        except Exception as error:
            # flopy raises whatever its parsing happens to meet in bytes that are none of its own.
            why = f"{type(error).__name__}: {error}"
        if why:
            return name, " ".join(why.split())[:200]
    return "", ""


class _Told:
    """What one file tells of what must stand in the next ones.

    Layers, and connections between cells; the flows that every saved step must hold; the last
    step and period, and their time [days].
    """

    def __init__(self) -> None:
        self.layers = self.connections = 0
        self.flows: set[str] = set()
        self.step = (0, 0)
        self.time = 0.0

    def read_packages(self, path: Path) -> str:
        words = [line.split() for line in path.read_text(encoding="utf-8").splitlines()]
        packages = words[words.index(["BEGIN", "packages"]) + 1 : words.index(["END", "packages"])]
        self.flows = {_FACES}
        for kind, _, name in packages:
            self.flows.update(_OF_PACKAGE.get(kind, (name.upper(),)))
        return ""

    def read_grid(self, path: Path) -> str:
        from flopy.mf6.utils import MfGrdFile

        file = MfGrdFile(str(path), verbose=False)
        self.layers, self.connections = int(file.nlay), int(file.nja)
        # flopy reads fewer values from a file that is cut short, and does not say so.
        whole = file.idomain.size == file.nodes and file.ja.size == self.connections > 0
        return "" if whole else "it is cut short"


def _heads(path: Path, told: _Told) -> str:
    size = path.stat().st_size
    with open(path, "rb") as file:
        ncol, nrow = struct.unpack("<40x2i4x", file.read(_LAYER_HEADER))
        length = _LAYER_HEADER + 8 * ncol * nrow
        if min(ncol, nrow) < 1 or size % length:
            return "it is cut short, or something else follows"
        file.seek(-length, os.SEEK_END)
        *step, told.time, layer = struct.unpack("<2i8xd24xi", file.read(_LAYER_HEADER))
        if layer != told.layers:
            return "it is cut short"
        told.step = step[0], step[1]
    return "" if np.isfinite(last_heads(path)).all() else "it holds heads that are no numbers"


def last_heads(path: Path) -> Floats:
    """Heads (nlay, nrow, ncol) [m] of the last step in a file that is whole.

    flopy's reader looks through all records first, which is felt where a stage is solved a dozen
    times for its wells' limits.
    """
    with open(path, "rb") as file:
        ncol, nrow = struct.unpack("<40x2i4x", file.read(_LAYER_HEADER))
        record = np.dtype([("header", "<i4", _LAYER_HEADER // 4), ("heads", "<f8", (nrow, ncol))])
        file.seek(-record.itemsize, os.SEEK_END)
        layers = int(np.fromfile(file, "<i4", _LAYER_HEADER // 4)[-1])
        file.seek(-layers * record.itemsize, os.SEEK_END)
        heads: Floats = np.ascontiguousarray(np.fromfile(file, record, layers)["heads"])
    return heads


def _budget(path: Path, told: _Told) -> str:
    """Go from record to record to the very end; all flows of each saved step must be there.

    flopy's reader takes ten times as long, which is felt where a stage is solved a dozen times for
    its wells' limits, and does not see what is cut off behind the flows between cells.
    """
    faces: tuple[int, int] | None = None
    found: dict[tuple[int, int], set[str]] = {}
    size = path.stat().st_size
    with open(path, "rb") as file:
        while file.tell() < size:
            step, period, text, *shape, method = struct.unpack("<2i16s3ii24x", file.read(64))
            name = text.decode("ascii").strip()
            if method == _WHOLE_ARRAY:
                count, width = abs(math.prod(shape)), 8
                if name == _FACES:
                    faces = count, file.tell()
            elif method == _LIST:
                # Four names of models and packages, then the columns, named but for the first.
                package, columns = struct.unpack("<48x16si", file.read(68))
                name = package.decode("ascii").strip()
                names = 16 * (columns - 1)
                (count,) = struct.unpack(f"<{names}xi", file.read(names + 4))
                width = 8 + 8 * columns
            else:
                return "something else stands where its next flows should begin"
            if count < 0 or width < 8 or file.seek(count * width, os.SEEK_CUR) > size:
                return "it is cut short"
            found.setdefault((step, period), set()).add(name)
    if faces is None or faces[0] != told.connections:
        return "it does not hold the flows between all cells"
    for missing in (told.flows - names for names in found.values()):
        if missing:
            return f"it is cut short: flows of {', '.join(sorted(missing))} are not there"
    if told.step not in found:
        return "it does not hold the flows of the last step of the heads"
    flows = np.fromfile(path, "<f8", faces[0], offset=faces[1])
    return "" if np.isfinite(flows).all() else "it holds flows that are no numbers"


def _lines(path: Path, time: float) -> str:
    with open(path, newline="", encoding="ascii") as file:
        head, *rows = csv.reader(file)
    values = [float(value) for value in rows[-1]]
    if len(values) != len(head):
        return "its last line is cut short"
    if not math.isclose(values[0], time, rel_tol=1e-9):
        return "it does not end with the last step of the heads"
    return "" if np.isfinite(values).all() else "it holds values that are no numbers"
