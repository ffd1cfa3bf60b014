"""Tables: numbers that agree with the answers, places to the centimetre, text that stays text."""

import csv
import re

import pytest

from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.run.tables import write_tables

NAMES = (
    "stages", "inflow", "inflow_by_layer", "wells", "water_balance", "soils",
)  # fmt: skip


def read(folder, name):
    with open(folder / "tables" / f"{name}.csv", newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def folder(start_run):
    return start_run.folder


@pytest.mark.parametrize("name", NAMES)
def test_every_table_has_rows_as_wide_as_its_head(folder, name):
    rows = read(folder, name)
    assert rows
    for row in rows:
        assert None not in row  # no cell too many
        assert None not in row.values()  # and none too few
        assert not any(re.fullmatch(r"(?i)-?(nan|inf)|-0(\.0*)?", cell) for cell in row.values())


def test_inflow_is_that_of_the_answers(folder, start_run):
    stages = {stage.name: stage.folder for stage in RunFolder(folder).ledger.stages}
    rows = read(folder, "inflow")
    assert [row["stage"] for row in rows] == ["first dig", "final dig"]
    for row in rows:
        key = stages[row["stage"]]
        answer = start_run.answers.answers[f"{key}.inflow_total"].value
        assert float(row["total [m3/s]"]) == pytest.approx(answer, rel=1e-5)
        parts = sum(float(row[f"{part} [m3/s]"]) for part in ("floor", "faces", "wall"))
        assert float(row["excavation [m3/s]"]) == pytest.approx(parts, abs=1e-9)


def test_layers_sum_to_their_part(folder):
    totals = {row["stage"]: row for row in read(folder, "inflow")}
    sums = {}
    for row in read(folder, "inflow_by_layer"):
        key = (row["stage"], row["where"])
        sums[key] = sums.get(key, 0.0) + float(row["flow [m3/s]"])
    assert ("final dig", "wells") in sums
    for (stage, where), total in sums.items():
        assert total == pytest.approx(float(totals[stage][f"{where} [m3/s]"]), rel=1e-4)


def test_wells_stand_where_they_stand_to_the_centimetre(folder):
    ledger = RunFolder(folder).ledger
    rows = read(folder, "wells")
    assert len(rows) == 2 * len(ledger.wells)
    for row, well in zip(rows, ledger.wells * 2, strict=True):
        assert row["well"] == well.name
        assert float(row["x [m]"]) == pytest.approx(well.x, abs=0.01)
        assert float(row["y [m]"]) == pytest.approx(well.y, abs=0.01)
        number = 1 if row["stage"] == "first dig" else 2
        assert float(row["flow [m3/s]"]) == pytest.approx(well.flow[number], rel=1e-5)
        assert float(row["level in well [m]"]) == pytest.approx(well.level[number], abs=1e-3)
        assert row["governed by"] == well.governing[number]


def test_the_worst_place_of_a_floor_is_found_to_the_centimetre(folder, start_run):
    for row, result in zip(read(folder, "stages"), start_run.answers.stages[1:], strict=True):
        assert float(row["least at x [m]"]) == pytest.approx(result.dryness.x, abs=0.01)
        assert float(row["least at y [m]"]) == pytest.approx(result.dryness.y, abs=0.01)
        assert float(row["water below formation [m]"]) == pytest.approx(
            result.dryness.margin, abs=1e-3
        )
        assert row["dry"] == ("yes" if result.dryness.dry else "no")


def test_the_balance_of_every_stage_closes(folder):
    rows = read(folder, "water_balance")
    for stage in {row["stage"] for row in rows}:
        came = sum(float(r["into the ground [m3/s]"]) for r in rows if r["stage"] == stage)
        went = sum(float(r["out of the ground [m3/s]"]) for r in rows if r["stage"] == stage)
        assert came == pytest.approx(went, rel=1e-3, abs=1e-8)


def test_soils_are_those_of_the_site(folder):
    rows = {row["soil"]: row for row in read(folder, "soils")}
    assert set(rows) == {"fill", "sand", "clay"}
    assert rows["sand"]["kh"] == "2.0e-04 m/s"
    assert float(rows["clay"]["unit weight [N/m3]"]) == 19000
    # ss = "auto": γw·mv with mv = 0.1 m²/MN.
    assert float(rows["clay"]["ss [1/m]"]) == pytest.approx(9810 * 0.1e-6)


@pytest.mark.parametrize("name", ["=1+1", "+cmd", "-2", "@SUM(A1)", "a,b", 'q"q', "two\nlines"])
def test_a_name_cannot_become_a_formula_or_break_a_table(start_copy, name):
    import dataclasses

    run = RunFolder(start_copy)
    wells = [dataclasses.replace(run.ledger.wells[0], name=name)]
    run.__dict__["ledger"] = dataclasses.replace(run.ledger, wells=wells)
    from wellring.postprocess.stage_results import read_results

    write_tables(run, read_results(run))
    rows = read(start_copy, "wells")
    assert len(rows) == 2
    shown = rows[0]["well"]
    assert shown.removeprefix("'") == name
    assert shown[0] not in "=+-@"
