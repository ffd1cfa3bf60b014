"""What is reported of stopped pumps: from which stage on, why not earlier, and group by group."""

from __future__ import annotations

from collections.abc import Sequence

from wellring.postprocess.run.answer import HELD, Answer, Part, Table, yes_no
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.pump_stop import SEALED, PumpStop, StopCheck, pump_stop
from wellring.postprocess.stability.stability import stabilities
from wellring.postprocess.stage_results import StageResult

ASSUMED = (
    "stopped pumps: the natural head comes back in every aquifer, or the stage's where that is "
    "higher; plugs are judged by the smaller weight of both states; tension piles count for the "
    "slab, not for plugs; floods and series above the natural state are not counted",
    "stopped pumps: relief wells that stay open while no pump works pass their aquifer's head to "
    "the slab's underside",
)


def assess_pump_stop(run: RunFolder, results: Sequence[StageResult]) -> Part:
    """Answers, warnings and the table `pump_stop`; nothing where no slab is cast."""
    part = Part(title="When the pumps stop")
    found = pump_stop(run, results)
    if found is None:
        return part
    part.assumptions += ASSUMED
    stable = dict(zip(map(id, results), stabilities(run, results), strict=True))
    for checks in found.stages:
        result, check = checks[0].result, checks[0].check
        used, floor = check.utilisation, stable[id(result)]
        assert floor is not None
        assert floor.flotation is not None
        stopped = not floor.flotation.pumped
        part.answers[f"{result.entry.folder}.recovered"] = Answer(
            used,
            "1",
            "largest utilisation of plugs and slab with all pumps stopped and relief wells "
            f"sealed; {floor.rules.text('uplift')}; {checks[0].text(run)}",
            f"{result.entry.name}: plugs and slab with all pumps stopped",
            "ratio",
            1.0 if stopped else None,
            (used is None or used <= HELD) if stopped else None,
        )
        part.warnings += [
            f"{result.entry.name}: the pumps may NOT stop{_with(item)}: {item.text(run)}"
            if item.holds is False
            else f"{result.entry.name}: whether the pumps may stop{_with(item)} is not judged: "
            f"{item.text(run)}"
            for item in checks
            if item.holds is not True
        ]
    for item in found.groups:
        key = f"{item.result.entry.folder}.may_stop.{item.stops}"
        part.answers[key] = Answer(
            {True: "yes", False: "no", None: "not judged"}[item.holds] + f": {item.text(run)}",
            "",
            "this drainage table alone out of work, all others going on",
            f"{item.result.entry.name}: may '{item.stops}' {_verb(item)}",
        )
    part.answers["pumping_may_stop"] = Answer(
        verdict_text(run, found),
        "",
        "every plug and the slab against the heads that come back, relief wells sealed",
        "Pumps may stop",
        "",
        None,
        None if found.must_seal and found.holds else found.holds,
    )
    part.tables["pump_stop"] = _table(run, found)
    return part


def verdict_text(run: RunFolder, found: PumpStop) -> str:
    """From which stage on the pumps may stop, or in which they may not, with what decides."""
    decisive = found.decisive
    reason = decisive.text(run)
    if found.since is not None:
        since = found.stages[found.since][0].result.entry.name
        sealed = ", once the relief wells are sealed" if found.must_seal else ""
        return f"from '{since}' on{sealed} ({reason})"
    if found.holds is None:
        return f"not judged ({reason})"
    first = found.stages[0][0].result.entry.name
    return f"in no stage, NOT from '{first}' on ({reason})"


def _with(item: StopCheck) -> str:
    return f" with relief wells {item.relief}" if item.relief else ""


def _verb(item: StopCheck) -> str:
    return "be sealed" if item.relief == SEALED else "stop"


def _table(run: RunFolder, found: PumpStop) -> Table:
    """One row a plug and slab of each state, the governing one first."""
    head = [
        "stage",
        "stops",
        "relief wells",
        "part",
        "over",
        "x",
        "y",
        "head [m]",
        "allowable head [m]",
        "factor of safety [-]",
        "utilisation [-]",
        "holds",
        "may stop",
        "note",
    ]
    rows: list[Sequence[object]] = []
    for item in [check for checks in found.stages for check in checks] + found.groups:
        start = [item.result.entry.name, item.stops, item.relief]
        end = [yes_no(item.holds) or "not judged", item.why]
        slab = item.check.slab
        if slab is not None:
            rows.append(
                [
                    *start, "slab", "", None, None, slab.head, slab.head_allowed, slab.factor,
                    slab.utilisation, yes_no(slab.utilisation <= HELD), *end,
                ]
            )  # fmt: skip
        for plug in item.check.plugs:
            cell = int(item.result.entry.floor[plug.column])
            rows.append(
                [
                    *start,
                    run.ledger.units[plug.upper].label,
                    run.ledger.units[plug.lower].label,
                    *run.place(cell),
                    plug.head,
                    plug.head_allowed,
                    plug.factor,
                    plug.utilisation,
                    yes_no(plug.utilisation <= HELD),
                    *end,
                ]
            )
    return head, rows
