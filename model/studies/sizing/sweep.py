"""Spacing and count: how far apart, or how few, points may be while the dig stays dry.

One drainage table's points on a ring or a line are spread by each of the values asked; each case is
solved as any variant of a study, on a grid of its own, and kept. What is answered is the widest
spacing (the fewest points) from which on all closer ones hold too.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from wellring.inputs.basics.units import shown, to_si
from wellring.inputs.read_site import Site, site_of_tables
from wellring.inputs.site.drainage import Placed
from wellring.inputs.site.names import drainage_names
from wellring.inputs.site.site import Scheme
from wellring.model.studies.engine import Study, open_study, read_with_tables
from wellring.model.studies.sizing.new_scheme import free_name, write_site
from wellring.model.studies.sizing.prices import NO_QUOTATION
from wellring.model.studies.sizing.request import one_scheme, study_folder, target_of
from wellring.model.studies.variants import Outcome, Variant
from wellring.postprocess.not_written import NotWritten
from wellring.postprocess.report.report_page import REPORT_FILE
from wellring.postprocess.run.answer import counted
from wellring.postprocess.run.result_set import result_set

Kind = Literal["spacing", "count"]


@dataclass(frozen=True)
class Case:
    """One spacing [m] or count with what became of it."""

    value: float
    points: int
    outcome: Outcome

    @property
    def margin(self) -> float | None:
        """Least water below formation over all stages [m]."""
        values = [
            told["value"]
            for name, told in self.outcome.answers.items()
            if name.endswith(".dry_margin") and told["value"] is not None
        ]
        return min(values, default=None)

    @property
    def flow(self) -> float | None:
        """Largest flow of all stages [m³/s]."""
        values = [
            told["value"]
            for name, told in self.outcome.answers.items()
            if name.endswith(".inflow_total")
        ]
        return max(values, default=None)

    @property
    def cost(self) -> float | None:
        """In all, in the user's currency, where known."""
        value = self.outcome.answers.get("cost", {}).get("value")
        return float(value) if value is not None else None

    @property
    def currency(self) -> str:
        """That of the cost."""
        return str(self.outcome.answers.get("cost", {}).get("unit", ""))

    @property
    def dry(self) -> bool:
        """Whether every stage is dry."""
        return not self.outcome.failed and all(
            told["ok"] is not False
            for name, told in self.outcome.answers.items()
            if name.endswith(".dry_margin")
        )

    @property
    def broken(self) -> list[str]:
        """Labels of the limits that fail."""
        return [t["label"] for t in self.outcome.answers.values() if t.get("ok") is False]


@dataclass
class Swept:
    """The cases of a sweep, the closest points first."""

    study: Study
    scheme: str
    table: str
    kind: Kind
    cases: list[Case]
    new_scheme: str = ""
    written: Path | None = None
    warnings: list[str] = field(default_factory=list)
    not_written: list[str] = field(default_factory=list)
    """Figures, layers and pages that could not be written, one sentence each."""

    @property
    def folder(self) -> Path:
        """Where the study's files are."""
        return self.study.folder

    @property
    def best(self) -> Case | None:
        """The widest (the fewest) that keeps the dig dry, as do all closer ones; None: none."""
        found = None
        for case in self.cases:
            if not case.dry:
                break
            found = case
        return found

    @property
    def exit_code(self) -> int:
        """0 where the case found keeps all limits, else 1; 3 where nothing was solved."""
        if all(case.outcome.failed for case in self.cases):
            return 3
        return 0 if self.best is not None and not self.best.broken else 1

    @property
    def priced(self) -> bool:
        """Whether some case tells its cost."""
        return any(case.cost is not None for case in self.cases)

    def as_json(self) -> dict[str, Any]:
        """What sweep.json holds."""
        return {
            "site": self.study.base.site.name,
            "scheme": self.scheme,
            "table": self.table,
            "swept": self.kind,
            "best": self.best.value if self.best else None,
            "new_scheme": self.new_scheme if self.written else None,
            "file": self.written.name if self.written else None,
            "cases": [
                {
                    self.kind: case.value,
                    "points": case.points,
                    "dry": case.dry,
                    "dry_margin_m": case.margin,
                    "flow_m3_s": case.flow,
                    "cost": case.cost,
                    "currency": case.currency,
                    "limits_that_fail": case.broken,
                    "failed": case.outcome.failed,
                }
                for case in self.cases
            ],
            "warnings": self.warnings,
        }

    def text(self) -> str:
        """A line a case, and the answer."""
        system = self.study.base.site.description.site.show
        length, flow = shown("length", system), shown("flow", system)
        lines = [f"{self.study.base.site.name} — {self.scheme}: {self.kind} of '{self.table}'", ""]
        for case in self.cases:
            named = self._named(case, length)
            if case.outcome.failed:
                lines.append(f"{named}: no answer: {case.outcome.failed}")
                continue
            told = [f"{named}: {'dry' if case.dry else 'NOT dry'}"]
            told.append(f"water {length.text(case.margin)} below formation at least")
            told.append(f"{flow.text(case.flow)} at most")
            if case.cost is not None:
                told.append(f"cost {case.cost:,.0f} {case.currency}")
            others = [text for text in case.broken if "water below formation" not in text]
            if others:
                told.append(f"fails on {counted(len(others), 'other limits')}")
            lines.append(", ".join(told))
        lines.append("")
        if self.best is None:
            lines.append("None of them keeps every stage dry: go closer, deeper, or another way.")
        else:
            word = "The widest" if self.kind == "spacing" else "The fewest"
            lines.append(f"{word} that keep every stage dry: {self._named(self.best, length)}.")
            lines += [f"  fails on {text}" for text in self.best.broken]
        if self.written is not None:
            lines.append(f"Scheme '{self.new_scheme}' in {self.written}")
        lines += [f"Note: {text}" for text in self.warnings]
        return "\n".join(lines) + "\n"

    def _named(self, case: Case, length: Any) -> str:
        if self.kind == "count":
            return f"{case.points} points"
        return f"every {length.text(case.value)} ({case.points} points)"


def sweep(
    site_file: str | Path,
    kind: Kind,
    values: Sequence[str],
    scheme: str | None = None,
    table: str | None = None,
    out: str | Path | None = None,
    *,
    write: str | Path | None = None,
    workers: int | None = None,
    cluster: str | None = None,
    solver: str | Path | None = None,
    say: Callable[[str], None] | None = None,
    figures: bool = True,
) -> Swept:
    """Solve a scheme with other spacings, or counts, of one drainage table's points.

    Parameters
    ----------
    values : spacings as text with or without a unit, or counts.
    table : the drainage table's name (where several stand on a ring or a line).
    out : folder of the study (default ``<site>.size/<scheme> spacing`` beside the site file).

    Raises
    ------
    InputFaults, SolverMissing, SolverFailed : see :mod:`wellring.inputs.basics.faults`.
    """
    path = Path(site_file)
    site, tables = read_with_tables(path)
    chosen, number = one_scheme(site, scheme)
    which = swept_table(chosen, site, number, table)
    asked = read_values(values, kind, site)
    target = target_of(path, write)
    folder = study_folder(path, f"{chosen.name} {kind}", out)
    first = site_of_tables(path, spread_by(tables, number, which, kind, asked[0]), site.lines)
    study = open_study(
        (first, spread_by(tables, number, which, kind, asked[0])), folder, scheme=chosen.name,
        solver=solver, workers=workers, cluster=cluster, say=say,
    )  # fmt: skip
    cases = _solve(study, chosen.name, number, which, kind, asked)
    done = Swept(study, chosen.name, drainage_names(chosen.drainage)[which], kind, cases)
    if done.priced:
        done.warnings.append(NO_QUOTATION)
    done.warnings.append(
        "each case stands on a grid of its own: margins within its error of each other are alike; "
        "take some points more than just hold, for points clog and pumps fail"
    )
    if done.best is not None:
        made = spread_by(tables, number, which, kind, done.best.value)["schemes"][number]
        done.new_scheme = free_name(
            f"{chosen.name}, {kind} sized", [item.name for item in site.description.schemes]
        )
        note = f"the scheme '{done.new_scheme}' stands at its end"
        done.written = write_site(path, target, {**made, "name": done.new_scheme}, note)
    _write(done, figures)
    return done


def _solve(
    study: Study, scheme: str, number: int, table: int, kind: Kind, values: Sequence[float]
) -> list[Case]:
    """All cases through the study, whose base is the first of them."""
    site = study.base.site
    placed = site.description.schemes[number].drainage[table]
    assert isinstance(placed, Placed)
    place = "ring" if placed.ring is not None else "line"
    path = f"schemes.{number}.drainage.{table}.{place}.{kind}"
    changes = [int(value) if kind == "count" else value for value in values]
    variants = [Variant({path: c} if i else {}, scheme) for i, c in enumerate(changes)]
    study.solve(variants)
    return [
        Case(value, _points(site, number, table, kind, value), outcome)
        for value, outcome in zip(values, study.outcomes(variants), strict=True)
    ]


def _write(done: Swept, figures: bool) -> None:
    import pandas

    told = done.as_json()
    with result_set(done.study.folder) as place:
        (place / "tables").mkdir()
        table = pandas.DataFrame(
            [
                {**row, "limits_that_fail": "; ".join(row["limits_that_fail"])}
                for row in told["cases"]
            ]
        )
        table.to_csv(place / "tables" / "cases.csv", index=False)
        text = json.dumps(told, ensure_ascii=False, indent=1)
        (place / "sweep.json").write_text(text, encoding="utf-8")
        (place / "sweep.txt").write_text(done.text(), encoding="utf-8")
        if figures:
            from wellring.model.studies.sizing.size_page import sweep_page

            failed = NotWritten()
            with failed.item(REPORT_FILE):
                sweep_page(done).write(place / REPORT_FILE)
            done.not_written = failed.items


def swept_table(scheme: Scheme, site: Site, number: int, name: str | None) -> int:
    """The number of the drainage table to sweep: the one called `name`, or the only placed one.

    Raises
    ------
    InputFaults : there is none of that name on a ring or a line, or several and no name.
    """
    labels = drainage_names(scheme.drainage)
    spread = {
        label: i
        for i, (label, table) in enumerate(zip(labels, scheme.drainage, strict=True))
        if isinstance(table, Placed) and (table.ring is not None or table.line is not None)
    }
    faults = site.fault_log()
    if name is None and len(spread) == 1:
        return next(iter(spread.values()))
    if name not in spread:
        listed = ", ".join(f"'{label}'" for label in spread) or "none in this scheme"
        faults.add(site.file.name, "--table", name,
                   f"the name of a drainage table on a ring or a line: {listed}")  # fmt: skip
    faults.raise_if_any()
    assert name is not None
    return spread[name]


def read_values(texts: Sequence[str], kind: Kind, site: Site) -> list[float]:
    """Spacings [m] or counts, the closest points first.

    Raises
    ------
    InputFaults : one is no length, or no whole number of points.
    """
    faults = site.fault_log()
    found = []
    for text in texts:
        try:
            value = to_si(text, "m") if kind == "spacing" else float(int(text))
            if value <= 0:
                raise ValueError
        except ValueError:
            expected = "a length above 0, such as 2.5 or \"8 ft\"" if kind == "spacing" else (
                "a whole number of points above 0")  # fmt: skip
            faults.add("the command", f"--{kind}", text, expected)
            continue
        found.append(value)
    faults.raise_if_any()
    return sorted(set(found), reverse=kind == "count")


def spread_by(
    tables: Mapping[str, Any], number: int, table: int, kind: Kind, value: float
) -> dict[str, Any]:
    """The site's tables with the points of one drainage table spread by a value."""
    changed: dict[str, Any] = copy.deepcopy(dict(tables))
    drainage = changed["schemes"][number]["drainage"][table]
    place = drainage["ring" if "ring" in drainage else "line"]
    for key in ("count", "spacing"):
        place.pop(key, None)
    place[kind] = int(value) if kind == "count" else value
    return changed


def _points(site: Site, number: int, table: int, kind: Kind, value: float) -> int:
    """How many points a spacing or a count makes."""
    from wellring.model.drainage.placement import place_points

    placed = site.description.schemes[number].drainage[table]
    assert isinstance(placed, Placed)
    where = "ring" if placed.ring is not None else "line"
    at = getattr(placed, where)
    other = {"count": None, "spacing": None, kind: int(value) if kind == "count" else value}
    moved = placed.model_copy(update={where: at.model_copy(update=other)})
    shape = site.geometries.get(f"schemes.{number}.drainage.{table}")
    return len(place_points(moved, site.outline, shape))
