"""Solving seeded random sites the way the tool does, and what is kept of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from chain import SiteOutcome, solve_site
from method_generator import write_scheme


@pytest.fixture
def outcome(solver: Path, tmp_path: Path) -> Callable[[int, float], SiteOutcome]:
    """Solve the site of a seed on a grid `coarser` times as coarse as the default."""

    def made(seed: int, coarser: float) -> SiteOutcome:
        return solve_site(seed, tmp_path / f"{seed:02d}", solver, coarser)

    return made


@pytest.fixture
def scheme_outcome(solver: Path, tmp_path: Path) -> Callable[[int, float], SiteOutcome]:
    """Solve the random scheme of a seed, any method, likewise."""

    def made(seed: int, coarser: float) -> SiteOutcome:
        return solve_site(seed, tmp_path / f"{seed:02d}", solver, coarser, write_scheme)

    return made
