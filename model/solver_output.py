"""Whether what the solver wrote can be read: ending normally is not enough.

A disk that filled up, a network drive that went away or a hand that was quicker leave files that
are cut short, empty or gone although MODFLOW 6 said that it ended normally.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np

from wellring.model.build import MODEL, WELLS_CSV


def spoilt(folder: Path) -> str:
    """What of a stage's output cannot be read, in words; "" when all can."""
    checks: list[tuple[str, Callable[[Path], str]]] = [
        (f"{MODEL}.lst", lambda path: ""),
        (f"{MODEL}.hds", _heads),
        (f"{MODEL}.dis.grb", _grid),
        (f"{MODEL}.bud", _budget),
    ]
    if (folder / "maw.dat").exists():
        checks.append((WELLS_CSV, _wells))
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
            return f"what it wrote cannot be read: {name}: {' '.join(why.split())[:200]}"
    return ""


def _heads(path: Path) -> str:
    from flopy.utils import HeadFile

    with HeadFile(str(path), precision="double") as file:
        records = file.recordarray
        heads = file.get_data(totim=file.get_times()[-1])
        length = len(records) * (52 + 8 * int(records["ncol"][0]) * int(records["nrow"][0]))
    if length != path.stat().st_size:
        return "it is cut short, or something else follows"
    return "" if np.isfinite(heads).all() else "it holds heads that are no numbers"


def _grid(path: Path) -> str:
    from flopy.mf6.utils import MfGrdFile

    return "" if MfGrdFile(str(path), verbose=False).nja > 0 else "it holds no cells"


def _budget(path: Path) -> str:
    from flopy.mf6.utils import MfGrdFile
    from flopy.utils import CellBudgetFile

    grid = MfGrdFile(str(path.with_name(f"{MODEL}.dis.grb")), verbose=False)
    with CellBudgetFile(str(path), precision="double") as file:
        time = file.get_times()[-1]
        flows = np.asarray(file.get_data(text="FLOW-JA-FACE", totim=time)[-1])
        file.get_data(idx=len(file.recordarray) - 1)
    if flows.size != grid.nja:
        return "it is cut short"
    return "" if np.isfinite(flows).all() else "it holds flows that are no numbers"


def _wells(path: Path) -> str:
    with open(path, newline="", encoding="ascii") as file:
        head, *rows = csv.reader(file)
    values = [float(value) for value in rows[-1]]
    if len(values) != len(head):
        return "its last line is cut short"
    return "" if np.isfinite(values).all() else "it holds values that are no numbers"
