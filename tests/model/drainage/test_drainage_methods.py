"""Every drainage method on a real model, and the physics of suction and ejectors by hand."""

import math
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from wellring.model.drainage import methods
from wellring.model.drainage.ejector_hydraulics import head_ratio, station, yield_capacity
from wellring.model.drainage.suction import practical_lift, theoretical_lift
from wellring.model.runs.run import Run
from wellring.model.runs.run import run as run_site
from wellring.postprocess.figures.method_marks import MARKS
from wellring.postprocess.operation.pump_stations import EFFICIENCY

START = Path(__file__).resolve().parents[3] / "model" / "start"

GRID = "[grid]\ncell = 2.0\nsublayer = 1.0\ngrowth = 1.6\nlargest = 60.0\n\n"
"""Limits are kept to the same tolerances on any grid; this has a tenth of the default's cells."""

Runs = Callable[[str], Run]


@pytest.fixture
def run_with(tmp_path: Path) -> Runs:
    """Run the start site with other drainage tables in place of its own."""

    def run_it(tables: str) -> Run:
        shutil.copytree(START, tmp_path / "site")
        file = tmp_path / "site" / "site.toml"
        text = file.read_text(encoding="utf-8")
        before, after = text.index("[[schemes]]"), text.index("[[points]]")
        scheme = f'[[schemes]]\nname = "tried"\n{tables}\n'
        file.write_text(text[:before] + scheme + GRID + text[after:], encoding="utf-8")
        (finished,) = run_site(file, figures=False, side_studies=False)
        return finished

    return run_it


# ISO 2533 standard atmosphere less vapour pressure (Magnus); published values of check C26.
@pytest.mark.parametrize(
    ("altitude", "temperature", "published"),
    [
        (0, 10, 10.2103),
        (0, 20, 10.1125),
        (1000, 20, 8.94281),
        (2000, 20, 7.8825),
        (3000, 20, 6.9236),
    ],
)
def test_suction_falls_with_altitude(altitude: float, temperature: float, published: float) -> None:
    assert theoretical_lift(altitude, temperature) == pytest.approx(published, rel=5e-3)


def test_practical_lift_is_never_negative() -> None:
    assert 5.0 <= practical_lift(0.0, 10.0) <= 6.0  # the trade's 5 to 6 m (value from memory)
    assert practical_lift(8000.0, 20.0) == 0.0


def test_ejector_by_hand() -> None:
    """Check C30: N and the supply of 0.5 L/s at η 0.30 (Gosline and O'Brien 1934, from memory)."""
    ratio = head_ratio(22.0, 0.0, 80.0)
    assert ratio == pytest.approx(0.37931, rel=1e-4)
    supply = 0.5e-3 * ratio / 0.30
    assert supply == pytest.approx(0.632184e-3, rel=1e-4)
    assert yield_capacity(supply, 22.0, 0.0, 80.0, 0.30) == pytest.approx(0.5e-3)
    made = station(20, supply, 20 * 0.5e-3, 80.0 * 9810.0, 0.60)
    assert made.returned == pytest.approx(made.supply + made.drawn)
    assert made.power == pytest.approx(16537.9, rel=1e-3)
    with pytest.raises(ValueError, match="must exceed"):
        head_ratio(30.0, 0.0, 25.0)


def test_wellpoints_stop_at_their_lift(run_with: Runs) -> None:
    run = run_with(
        '[[schemes.drainage]]\nmethod = "wellpoints"\nring = { offset = 1.0, spacing = 3.0 }\n'
        "header = 2.0\nlift = 4.0\nscreen = [-4.5, -3.5]\n"
    )
    wells = run.reader.ledger.wells
    assert all(well.level[-1] >= -2.0 - 1e-3 for well in wells if well.level[-1] is not None)
    assert any(well.governing[-1] == "level" for well in wells)
    assert not run.answers.answers["02-final-dig.dry_margin"].ok  # −2.0 in the points is too high


def test_header_pump_limits_all_its_points(run_with: Runs) -> None:
    run = run_with(
        '[[schemes.drainage]]\nmethod = "wellpoints"\nring = { offset = 1.0, spacing = 3.0 }\n'
        'header = 2.5\nscreen = [-4.0, -3.0]\npump_capacity = "40 m3/h"\n'
    )
    wells = run.reader.ledger.wells
    assert 3600 * sum(well.flow[-1] for well in wells) == pytest.approx(40.0, rel=2e-3)
    assert {well.governing[-1] for well in wells} == {"header pump"}
    levels = [well.level[-1] for well in wells]
    assert max(levels) - min(levels) < 1e-6  # one header, one level
    assert any("header's pump" in text for text in run.answers.warnings)


def test_ejectors_keep_to_their_yield(run_with: Runs) -> None:
    run = run_with(
        '[[schemes.drainage]]\nmethod = "ejectors"\nring = { offset = 1.0, spacing = 6.0 }\n'
        'screen = [-7.0, -3.0]\nnozzle = -5.0\noutlet = 4.5\nsupply_pressure = "800 kPa"\n'
        'capacity = "0.4 L/s"\n'
    )
    for well in run.reader.ledger.wells:
        assert well.flow[-1] <= 0.4e-3 * 1.001
        assert well.level[-1] >= -5.0 - 1e-3
    assert any("outside their usual range" in text for text in run.answers.warnings)
    assert any("at the station" in text for text in run.answers.warnings)


def test_sump_gives_no_clearance_and_says_so(run_with: Runs) -> None:
    run = run_with('[[schemes.drainage]]\nmethod = "sump"\npump_capacity = "2 m3/h"\n')
    sump = run.answers.answers["02-final-dig.sump"]
    assert sump.value == run.answers.answers["02-final-dig.inflow_excavation"].value
    assert sump.value > sump.limit == pytest.approx(2 / 3600)
    assert sump.ok is False
    assert any("the floor floods" in text for text in run.answers.warnings)
    margin = run.answers.answers["02-final-dig.dry_margin"]
    assert not margin.ok
    assert margin.value < 0.1
    assert any("no clearance" in text for text in run.answers.warnings)


def test_recharge_returns_its_share_and_spares_the_neighbour(run_with: Runs) -> None:
    wells = (
        '[[schemes.drainage]]\nmethod = "deep wells"\nring = { offset = -1.5, count = 6 }\n'
        'screen = [-8.5, -1.0]\ndiameter = "300 mm"\nhold = -4.0\n'
    )
    recharge = (
        '[[schemes.drainage]]\nmethod = "recharge wells"\n'
        "points = [[466052.0, 5918000.0], [466052.0, 5918010.0], [466052.0, 5918020.0]]\n"
        'screen = [-6.0, 0.0]\ndiameter = "300 mm"\nhead_limit = 3.5\nshare = 0.3\nclogging = 2.0\n'
    )
    run = run_with(wells + recharge)
    pumped = [well for well in run.reader.ledger.wells if well.method == "deep wells"]
    given = [well for well in run.reader.ledger.wells if well.method == "recharge wells"]
    taken, back = sum(w.flow[-1] for w in pumped), -sum(w.flow[-1] for w in given)
    assert back == pytest.approx(0.3 * taken, rel=2e-3)
    assert all(well.level[-1] <= 3.5 + 1e-3 for well in given)
    answers = run.answers.answers
    assert answers["02-final-dig.returned"].value == pytest.approx(back, rel=1e-6)
    assert answers["02-final-dig.wells_total"].value == pytest.approx(taken, rel=1e-6)


def test_recharge_trench_holds_the_water_up_behind_it(run_with: Runs) -> None:
    """A trench of 30 m between pit and neighbour gives back its share below its head limit."""
    wells = (
        '[[schemes.drainage]]\nmethod = "deep wells"\nring = { offset = -1.5, count = 6 }\n'
        'screen = [-8.5, -1.0]\ndiameter = "300 mm"\nhold = -4.0\n'
    )
    trench = (
        '[[schemes.drainage]]\nmethod = "recharge trench"\nname = "trench"\n'
        "line = { along = [[466039.0, 5917995.0], [466039.0, 5918025.0]], spacing = 3.0 }\n"
        "bottom = -2.0\nwidth = 0.8\nhead_limit = 3.0\nshare = 0.3\nclogging = 2.0\n"
    )
    run = run_with(wells + trench)
    pumped = [well for well in run.reader.ledger.wells if well.method == "deep wells"]
    given = [well for well in run.reader.ledger.wells if well.method == "recharge trench"]
    assert len(given) == 11
    taken, back = sum(w.flow[-1] for w in pumped), -sum(w.flow[-1] for w in given)
    assert back == pytest.approx(0.3 * taken, rel=2e-3)
    assert all(w.level[-1] <= 3.0 + 1e-3 for w in given if w.level[-1] is not None)
    # Behind the trench the water stands higher than as far away on the other side of the pit.
    last = run.answers.stages[-1]
    cells = [run.reader.plan_cell(x, 5918010.0) for x in (466045.0, 465985.0)]
    levels = [float(last.table[cell]) for cell in cells if cell is not None]
    assert levels[0] > levels[1] + 0.3


def test_relief_wells_flow_at_the_floor_or_not_at_all(run_with: Runs) -> None:
    """A passive well in the pit flows at formation while the ground stands higher."""
    run = run_with(
        '[[schemes.drainage]]\nmethod = "relief wells"\npoints = [[466015.0, 5918010.0]]\n'
        'screen = [-8.0, -4.0]\ndiameter = "300 mm"\n'
    )
    (well,) = run.reader.ledger.wells
    for stage, entry in enumerate(run.reader.ledger.stages[1:], start=1):
        assert well.flow[stage] > 0
        assert well.level[stage] == pytest.approx(entry.formation, abs=1e-6)


def test_a_relief_well_counts_no_further_than_its_screen(run_with: Runs) -> None:
    """V4: a thin passive well gives Sichardt's limit, 2π·r·l·√k/15 of its whole screen (hand
    calculation), with its water above its outlet; that is said. One of 300 mm keeps to formation
    (test above)."""
    table = (
        '[[schemes.drainage]]\nmethod = "relief wells"\npoints = [[466015.0, 5918010.0]]\n'
        'screen = [-6.0, -4.0]\ndiameter = "40 mm"\n'
    )
    run = run_with(table)
    (well,) = run.reader.ledger.wells
    formation = run.reader.ledger.stages[-1].formation
    assert formation is not None
    k = run.reader.ledger.soils["sand"].kh
    by_hand = 2 * math.pi * 0.02 * 2.0 * math.sqrt(k) / 15
    assert well.governing[-1] == "screen"
    assert well.flow[-1] == pytest.approx(by_hand, rel=1.5e-3)
    assert well.level[-1] is not None
    assert well.level[-1] > formation + 0.05
    (told,) = [t for t in run.answers.warnings if t.startswith("final dig") and "Sichardt" in t]
    above = well.level[-1] - formation
    assert f"stays {above:.2f} m above its outlet" in told


def test_every_method_has_its_mark_and_a_pump_or_none() -> None:
    """A method that is added must also be drawn and driven; a passive one has no pump."""
    known = {table.model_fields["method"].annotation.__args__[0] for table in methods()}
    assert known - set(MARKS) == {"sump"}
    assert known - set(EFFICIENCY) == {"relief wells"}
