"""Examples in docstrings are run."""

import doctest
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
EXAMPLES = sorted(
    ".".join(("wellring", *path.relative_to(ROOT).with_suffix("").parts))
    for folder in ("inputs", "model", "postprocess")
    for path in (ROOT / folder).rglob("*.py")
    if ">>> " in path.read_text(encoding="utf-8")
)


@pytest.mark.parametrize("module", EXAMPLES)
def test_examples_give_what_they_say(module: str) -> None:
    done = doctest.testmod(importlib.import_module(module))
    assert done.attempted > 0
    assert done.failed == 0


def test_there_are_examples() -> None:
    assert "wellring.postprocess.water.closed_form" in EXAMPLES
