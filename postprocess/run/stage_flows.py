"""Cell-by-cell flows of one stage, its file searched once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import DAY

Floats = NDArray[np.float64]


class StageFlows:
    """Flows of the last step of a MODFLOW 6 budget file.

    flopy walks through the whole file whenever it opens one, which costs as much as all that is
    then read; so it is opened once, and the flows between cells, by far the largest, are left in
    the file until they are asked for.

    Attributes
    ----------
    packages : by package name in capitals, nodes (m,) from 0 and flows (m,) [m³/s] into the ground.
    """

    def __init__(self, path: Path):
        from flopy.utils import CellBudgetFile

        self._path = path
        self.packages: dict[str, tuple[NDArray[np.intp], Floats]] = {}
        with CellBudgetFile(str(path), precision="double") as file:
            records = file.recordarray
            names = np.char.strip(records["paknam2"].astype(str))
            between = np.char.strip(records["text"].astype(str)) == "FLOW-JA-FACE"
            for name in np.unique(names[~between]):
                row = int(np.flatnonzero(names == name)[-1])
                record = file.get_data(idx=row)[0]
                if getattr(record, "dtype", None) is not None and record.dtype.names:
                    nodes = record["node"].astype(np.intp) - 1
                    self.packages[str(name)] = nodes, record["q"] / DAY
            last = int(np.flatnonzero(between)[-1])
            # flopy tells the shape of these flows as (count, 1, 1); negative for compact records.
            self._count = int(np.prod(np.abs([records[k][last] for k in ("ncol", "nrow", "nlay")])))
            self._begins = int(file.iposarray[last])

    def faces(self) -> Floats:
        """FLOW-JA-FACE (nja,) [m³/s], in MODFLOW 6's own order."""
        return np.fromfile(self._path, "<f8", self._count, offset=self._begins) / DAY
