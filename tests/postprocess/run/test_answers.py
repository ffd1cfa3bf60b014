"""The headline answers: what counts as kept, what is written, and what is warned of."""

import dataclasses
import json
import math

import pytest

from wellring.postprocess.answers import Answers, make_answers
from wellring.postprocess.post_process import post_process
from wellring.postprocess.run.answer import Answer, counted
from wellring.postprocess.run.run_folder import ANSWERS_FILE, LEDGER_FILE, RUN_FILE, RunFolder
from wellring.postprocess.run.summary import summary, value_text
from wellring.postprocess.stage_results import read_results


def answer(ok):
    return Answer(1.0, "m", "basis", "label", ok=ok)


@pytest.mark.parametrize(
    ("oks", "expected"),
    [((), True), ((None, None), True), ((True, None), True), ((True, False, None), False)],
)
def test_all_is_well_unless_some_limit_does_not_hold(oks, expected):
    answers = {str(index): answer(ok) for index, ok in enumerate(oks)}
    assert Answers(answers).all_ok is expected


def no_constant(text):
    raise AssertionError(f"{text} is not JSON")


def read_strictly(path):
    """JSON without NaN or Infinity."""
    return json.loads(path.read_text(encoding="utf-8"), parse_constant=no_constant)


def numbers(value):
    if isinstance(value, dict):
        for item in value.values():
            yield from numbers(item)
    elif isinstance(value, list):
        for item in value:
            yield from numbers(item)
    elif isinstance(value, float):
        yield value


@pytest.mark.parametrize("name", [ANSWERS_FILE, RUN_FILE, LEDGER_FILE])
def test_files_of_a_run_are_strict_json_without_minus_zero(start_run, name):
    content = read_strictly(start_run.folder / name)
    found = list(numbers(content))
    assert found
    assert not any(value == 0 and math.copysign(1, value) < 0 for value in found)


def test_written_answers_are_those_returned(start_run):
    written = read_strictly(start_run.folder / ANSWERS_FILE)
    assert written == start_run.answers.as_json()
    for name, item in written.items():
        assert set(item) == {"value", "unit", "basis", "label", "kind", "limit", "ok"}, name
        assert item["unit"]
        assert item["basis"]


def test_answers_hang_together(start_run):
    folder = RunFolder(start_run.folder)
    answers = start_run.answers.answers
    for stage in folder.ledger.stages[1:]:

        def value(name, key=stage.folder):
            return answers[f"{key}.{name}"].value

        parts = value("inflow_floor") + value("inflow_faces") + value("inflow_wall")
        assert value("inflow_excavation") == pytest.approx(parts)
        assert value("inflow_total") == pytest.approx(parts + value("wells_total"))
        dry = answers[f"{stage.folder}.dry_margin"]
        assert dry.limit == 0.5
        assert dry.ok == (dry.value >= 0.5 - 1e-3)
        assert 0 < value("reach") <= 300
    assert answers["mass_balance_error"].value == max(
        abs(stage.discrepancy) for stage in folder.ledger.stages
    )


def test_named_points_have_a_level_in_every_stage(start_run):
    levels = [
        item.value for name, item in start_run.answers.answers.items() if ".level.house" in name
    ]
    assert len(levels) == 3
    assert levels[0] == pytest.approx(2.5, abs=0.01)
    assert levels[1] < levels[0]


def test_side_studies_tell_the_grids_error_and_the_sources_weight(start_run):
    answers = start_run.answers.answers
    side = RunFolder(start_run.folder).provenance["side_studies"]
    total = answers["02-final-dig.inflow_total"].value
    coarse, farther = side["coarse"]["inflow"], side["farther"]["inflow"]
    assert answers["grid_error"].value == pytest.approx(abs(total - coarse) / total * 100)
    assert 0 < answers["grid_error"].value < 15
    assert answers["inflow_extrapolated"].value == pytest.approx(2 * total - coarse)
    assert answers["farther_source_inflow"].value == pytest.approx((farther / coarse - 1) * 100)
    assert farther < coarse  # the farther the source the less it gives
    assert answers["farther_source_level"].value < 0


def test_where_pumps_set_the_flow_the_grid_is_judged_by_the_level(start_copy):
    plain = make_answers(RunFolder(start_copy), read_results(RunFolder(start_copy)))
    assert "set by rates and pumps" not in plain.answers["grid_error"].basis
    path = start_copy / LEDGER_FILE
    content = json.loads(path.read_text(encoding="utf-8"))
    for well in content["wells"]:
        well["governing"][-1] = "pump"
    path.write_text(json.dumps(content), encoding="utf-8")
    run = RunFolder(start_copy)
    answers = make_answers(run, read_results(run))
    assert "set by rates and pumps" in answers.answers["grid_error"].basis
    assert "inflow_extrapolated" not in answers.answers
    assert "Estimated discretisation error of the water level" in summary(run, answers, start_copy)


def rewritten(folder, **changes):
    """The run in `folder` with run.json changed."""
    path = folder / RUN_FILE
    content = json.loads(path.read_text(encoding="utf-8")) | changes
    path.write_text(json.dumps(content), encoding="utf-8")
    return RunFolder(folder)


def test_what_went_wrong_is_warned_of(start_copy):
    stages = json.loads((start_copy / RUN_FILE).read_text(encoding="utf-8"))["stages"]
    stages[1] |= {"settled": False}
    stages[2] |= {"mass_balance_percent": 0.4}
    run = rewritten(
        start_copy,
        stages=stages,
        warnings=["told before"],
        side_studies={"coarse": {"why": "no answer for 'final dig'"}},
    )
    answers = make_answers(run, read_results(run))
    text = "\n".join(answers.warnings)
    assert "told before" in text
    assert f"{stages[1]['name']}: the wells' limits did not settle" in text
    assert f"{stages[2]['name']}: the mass balance is off by 0.4 %" in text
    assert "side study 'coarse' gave no answer" in text
    assert "grid_error" not in answers.answers


def test_a_side_study_without_water_under_the_floor_leaves_its_level_out(start_copy):
    none = {"inflow": 0.02, "floor_level": None, "cells": 10}
    run = rewritten(start_copy, side_studies={"coarse": none, "farther": none})
    answers = make_answers(run, read_results(run))
    assert answers.answers["farther_source_level"].value is None
    assert answers.answers["farther_source_inflow"].value == 0.0
    (start_copy / ANSWERS_FILE).write_text(answers.text(), encoding="utf-8")
    read_strictly(start_copy / ANSWERS_FILE)


def test_a_bad_mass_balance_is_not_well(start_copy):
    run = RunFolder(start_copy)
    stages = [dataclasses.replace(stage, discrepancy=-0.3) for stage in run.ledger.stages]
    run.__dict__["ledger"] = dataclasses.replace(run.ledger, stages=stages)
    answers = make_answers(run, read_results(run))
    assert answers.answers["mass_balance_error"].ok is False
    assert not answers.all_ok


@pytest.mark.parametrize(
    ("governing", "words"),
    [
        ("pump", "the pump gives no more"),
        ("screen", "the screen takes in no more"),
        ("dry", "dug away or dry"),
        ("no inflow", "are shut"),
    ],
)
def test_wells_that_cannot_do_more_are_named(start_copy, governing, words):
    run = RunFolder(start_copy)
    wells = list(run.ledger.wells)
    wells[2] = dataclasses.replace(wells[2], governing=["not used", "level", governing])
    run.__dict__["ledger"] = dataclasses.replace(run.ledger, wells=wells)
    warnings = make_answers(run, read_results(run)).warnings
    (line,) = [text for text in warnings if words in text]
    assert line.startswith("final dig: W 3 ")


def test_walls_that_hold_no_water_are_warned_of(start_copy):
    run = RunFolder(start_copy)
    wall = dataclasses.replace(run.ledger.walls[0], kind="trench box", holds_water=False)
    run.__dict__["ledger"] = dataclasses.replace(run.ledger, walls=[wall])
    assert any("trench box" in text for text in make_answers(run, read_results(run)).warnings)


def test_a_run_can_be_post_processed_again_to_the_same_answers(start_copy):
    before = (start_copy / ANSWERS_FILE).read_text(encoding="utf-8")
    (start_copy / ANSWERS_FILE).unlink()
    post_process(RunFolder(start_copy), figures=False)
    assert (start_copy / ANSWERS_FILE).read_text(encoding="utf-8") == before


def test_the_summary_tells_the_answers_and_the_caution(start_run):
    folder = RunFolder(start_run.folder)
    text = summary(folder, start_run.answers, start_run.folder)
    total = start_run.answers.answers["02-final-dig.inflow_total"].value
    assert f"{total * 3600:.1f} m³/h" in text
    assert "final dig" in text
    assert "Caution" in text
    assert "licensed engineer" in text
    assert "MODFLOW 6" in text
    for warning in start_run.answers.warnings:
        assert warning in text


@pytest.mark.parametrize(
    ("item", "system", "expected"),
    [
        (Answer(0.01, "m3/s", "b", "l", "flow"), "metric", "36.0 m³/h"),
        (Answer(0.01, "m3/s", "b", "l", "flow"), "us", "159 gpm"),
        (Answer(1.5, "m", "b", "l", "length", 0.5, True), "metric", "1.50 m (needed 0.50 m)  ok"),
        (
            Answer(0.1, "m", "b", "l", "length", 0.5, False),
            "us",
            "0.33 ft (needed 1.64 ft)  NOT OK",
        ),
        (
            Answer(None, "m", "b", "l", "length", 0.5, True),
            "metric",
            "not judged (needed 0.50 m)  ok",
        ),
        (
            Answer(0.034, "%", "b", "Mass", "percent", 0.1, True),
            "metric",
            "0.034 % (limit 0.1 %)  ok",
        ),
        (Answer(-3.21, "%", "b", "Change of", "percent"), "metric", "-3.2 %"),
        (Answer(1.0, "pumps", "b", "l", "count"), "metric", "1 pump"),
        (Answer(12.0, "pumps", "b", "l", "count"), "us", "12 pumps"),
        (Answer(1.0, "operators", "b", "l", "count"), "us", "1 operator"),
        (Answer(0.0, "operators", "b", "l", "count"), "metric", "0 operators"),
        (Answer(1.0, "1", "b", "l", "count", 0.0, False), "metric", "1 (limit 0)  NOT OK"),
        (Answer(1.0, "francs", "b", "l", "count"), "metric", "1 francs"),
    ],
)
def test_answers_are_shown_in_the_sites_units(item, system, expected):
    assert value_text(item, system) == expected


@pytest.mark.parametrize(
    ("count", "expected"), [(0, "0 wells"), (1, "1 well"), (1.0, "1 well"), (6902, "6,902 wells")]
)
def test_one_of_a_thing_is_told_in_the_singular(count, expected):
    assert counted(count, "wells") == expected


def test_every_limit_that_fails_is_told_once_with_its_limit(start_run):
    """Exit code 1 must have its reason on the terminal, also of an answer without its own row."""
    folder = RunFolder(start_run.folder)
    stage = folder.ledger.stages[-1]
    added = {
        f"{stage.folder}.sump": Answer(
            0.01, "m3/s", "b", f"{stage.name}: from the sump", "flow", 0.005, False
        ),
        "pile_cover": Answer(0.2, "m", "b", "Cover of piles", "level", 0.5, False),
        f"{stage.folder}.kept": Answer(0.2, "m", "b", "Kept quiet", "level", 0.5, True),
    }
    told = Answers({**start_run.answers.answers, **added})
    text = summary(folder, told, start_run.folder)
    (row,) = [line for line in text.splitlines() if "from the sump" in line.lower()]
    assert row.split("  ")[-1] == "NOT OK"
    assert "36.0 m³/h (limit 18.0 m³/h)" in row
    assert text.count("Cover of piles: 0.20 m (limit 0.50 m)  NOT OK") == 1
    assert "Kept quiet" not in text
