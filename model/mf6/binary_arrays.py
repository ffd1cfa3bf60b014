"""MODFLOW 6's binary arrays: one file for all layers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

_HEADER = np.dtype(
    [
        ("kstp", "<i4"),
        ("kper", "<i4"),
        ("pertim", "<f8"),
        ("totim", "<f8"),
        ("text", "S16"),
        ("ncol", "<i4"),
        ("nrow", "<i4"),
        ("ilay", "<i4"),
    ]
)


def array_file(stem: str) -> str:
    """Name of the file of an array."""
    return f"{stem}.bin"


def write_array(folder: Path, stem: str, values: NDArray) -> None:
    """Write an array of cells, as MODFLOW 6 reads it where it is not told LAYERED.

    One file, not one a layer: opening and removing hundreds of small files costs a study of many
    variants more than their bytes do.

    Parameters
    ----------
    values : (..., ncol), the rows of all layers in their order; written as int32 where of whole
        numbers or flags, else as float64.
    """
    kind = "<i4" if values.dtype.kind in "iub" else "<f8"
    header = np.zeros(1, dtype=_HEADER)
    header["kstp"] = header["kper"] = header["ilay"] = 1
    header["text"] = stem.upper()[:16].ljust(16).encode()
    header["ncol"], header["nrow"] = values.shape[-1], values.size // values.shape[-1]
    with open(folder / array_file(stem), "wb") as file:
        file.write(header.tobytes())
        file.write(np.ascontiguousarray(values, kind).data)


def read_array(folder: Path, stem: str, shape: tuple[int, ...]) -> NDArray[np.float64]:
    """Read the float64 that :func:`write_array` wrote, in the `shape` it had."""
    return np.fromfile(folder / array_file(stem), "<f8", offset=_HEADER.itemsize).reshape(shape)
