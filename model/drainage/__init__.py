"""Ways to lower the water, one file a method; :func:`methods` knows them all."""

from __future__ import annotations

from typing import Any

from wellring.model.drainage.method import Method


def methods() -> dict[type[Any], Method]:
    """Every method by its table type. A new method is a file here and a line in this list."""
    from wellring.model.drainage import (
        deep_wells,
        ejectors,
        recharge_trench,
        recharge_wells,
        relief_wells,
        sump,
        wellpoints,
    )

    files = (
        deep_wells,
        ejectors,
        recharge_trench,
        recharge_wells,
        relief_wells,
        sump,
        wellpoints,
    )
    return {file.METHOD.table: file.METHOD for file in files}
