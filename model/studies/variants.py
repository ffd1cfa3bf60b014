"""One variant of a site, and the folder in which the answers of many are kept.

Each variant has a folder of its own, named by a hash over everything that its answers hang on. It
is written beside its name and renamed: whatever kills a study, a folder that is there is whole.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.model.runs.result_folders import process_alive

Floats = NDArray[Any]

VARIANT_FILE = "variant.json"
ANSWERS_FILE = "answers.json"
FIELDS_FILE = "fields.npz"
_KEY_LENGTH = 20


@dataclass(frozen=True)
class Variant:
    """A site's scheme with some of its values changed.

    Parameters
    ----------
    overrides : dotted path → value, in SI or text with a unit; none is the base case.
    scheme : name of the scheme.
    """

    overrides: Mapping[str, Any]
    scheme: str

    def key(self, base_hash: str) -> str:
        """The variant's name among the results.

        Parameters
        ----------
        base_hash : over the inputs, the version of wellring and the solver.
        """
        told = json.dumps([base_hash, self.scheme, sorted(self.overrides.items())])
        return hashlib.sha256(told.encode()).hexdigest()[:_KEY_LENGTH]


@dataclass
class Outcome:
    """What became of a variant.

    Parameters
    ----------
    answers : name → the entry of answers.json ("value", "unit", "label", "limit", "ok" …).
    fields : name → (stages, n) over the plan cells of the base case, natural state left out; and,
        where the base case asks for them, what :mod:`wellring.model.studies.sizing.controls` reads.
    computed : the value of each of the study's observations, SI; None where there is none.
    failed : why there are no answers, or "".
    """

    answers: dict[str, dict[str, Any]] = field(default_factory=dict)
    fields: dict[str, Floats] = field(default_factory=dict)
    computed: list[float | None] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    failed: str = ""
    seconds: float = 0.0
    solver_seconds: float = 0.0


class VariantStore:
    """The folder in which the answers of variants are kept, by their keys."""

    def __init__(self, folder: Path, base_hash: str):
        self.folder, self.base_hash = folder, base_hash
        folder.mkdir(parents=True, exist_ok=True)
        for left in folder.glob(".*.partial-*"):
            owner = left.name.rpartition("-")[2]
            if owner.isdigit() and not process_alive(int(owner)):
                shutil.rmtree(left, ignore_errors=True)

    def path(self, variant: Variant) -> Path:
        """Where a variant's answers are or will be."""
        return self.folder / variant.key(self.base_hash)

    def has(self, variant: Variant) -> bool:
        """Whether a variant was finished (or failed) before, and can still be read."""
        fields = self.path(variant) / FIELDS_FILE
        try:
            answers = self.outcome(variant).answers
        except (OSError, ValueError, LookupError, TypeError):
            return False
        return isinstance(answers, dict) and (not fields.exists() or zipfile.is_zipfile(fields))

    def put(self, variant: Variant, outcome: Outcome) -> None:
        """Keep what became of a variant; one that is there stays."""
        final = self.path(variant)
        partial = final.with_name(f".{final.name}.partial-{os.getpid()}")
        shutil.rmtree(partial, ignore_errors=True)
        partial.mkdir()
        told = {
            "scheme": variant.scheme,
            "overrides": dict(variant.overrides),
            "failed": outcome.failed,
            "computed": outcome.computed,
            "warnings": outcome.warnings,
            "seconds": outcome.seconds,
            "solver_seconds": outcome.solver_seconds,
        }
        _write_json(partial / VARIANT_FILE, told)
        if not outcome.failed:
            _write_json(partial / ANSWERS_FILE, outcome.answers)
            if outcome.fields:
                np.savez_compressed(partial / FIELDS_FILE, **outcome.fields)  # type: ignore[arg-type]
        try:
            partial.rename(final)
        except OSError:
            if self.has(variant):  # another process finished the same one first
                shutil.rmtree(partial, ignore_errors=True)
            else:  # what stands there was damaged
                self.drop(variant)
                partial.rename(final)

    def drop(self, variant: Variant) -> None:
        """Forget a variant, so that it is computed again."""
        shutil.rmtree(self.path(variant), ignore_errors=True)

    def outcome(self, variant: Variant, fields: bool = False) -> Outcome:
        """Read what became of a variant; its fields only where asked for."""
        folder = self.path(variant)
        told = json.loads((folder / VARIANT_FILE).read_text(encoding="utf-8"))
        found = Outcome(
            computed=told["computed"],
            warnings=told["warnings"],
            failed=told["failed"],
            seconds=told["seconds"],
            solver_seconds=told["solver_seconds"],
        )
        if not found.failed:
            found.answers = json.loads((folder / ANSWERS_FILE).read_text(encoding="utf-8"))
            if fields:
                found.fields = self.fields(variant)
        return found

    def fields(self, variant: Variant) -> dict[str, Floats]:
        """The fields of a variant, (stages, …) as in :class:`Outcome`; none where it failed."""
        path = self.path(variant) / FIELDS_FILE
        if not path.is_file():
            return {}
        with np.load(path) as stored:
            return {name: stored[name] for name in stored.files}

    def fields_of(self, variants: list[Variant], name: str) -> Iterator[Floats]:
        """One field (stages, …) of each variant that has it, one by one: memory stays bounded."""
        for variant in variants:
            found = self.fields(variant)
            if name in found:
                yield found[name]


def _write_json(path: Path, content: Any) -> None:
    path.write_text(json.dumps(content, ensure_ascii=False, allow_nan=False), encoding="utf-8")
