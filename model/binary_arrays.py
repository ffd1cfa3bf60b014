"""MODFLOW 6's binary arrays, one file a layer."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

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


def layer_file(stem: str, layer: int) -> str:
    """Name of the file of one layer (from 0)."""
    return f"{stem}_{layer + 1:03d}.bin"


def write_layer_arrays(folder: Path, stem: str, values: Floats) -> None:
    """Write `values` (nlay, nrow, ncol) as float64, in files "stem_001.bin" and so on."""
    nlay, nrow, ncol = values.shape
    header = np.zeros(1, dtype=_HEADER)
    header["kstp"] = header["kper"] = 1
    header["text"], header["ncol"], header["nrow"] = (
        stem.upper()[:16].ljust(16).encode(),
        ncol,
        nrow,
    )
    for layer in range(nlay):
        header["ilay"] = layer + 1
        with open(folder / layer_file(stem, layer), "wb") as file:
            file.write(header.tobytes())
            file.write(np.ascontiguousarray(values[layer], "<f8").tobytes())


def read_layer_arrays(folder: Path, stem: str) -> Floats:
    """Read what :func:`write_layer_arrays` wrote: (nlay, nrow, ncol)."""
    layers = []
    for path in sorted(folder.glob(f"{stem}_*.bin")):
        raw = path.read_bytes()
        header = np.frombuffer(raw[: _HEADER.itemsize], _HEADER)[0]
        values = np.frombuffer(raw[_HEADER.itemsize :], "<f8")
        layers.append(values.reshape(int(header["nrow"]), int(header["ncol"])))
    return np.stack(layers)
