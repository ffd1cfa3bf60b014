"""What it takes to run, from real runs of every method: pumps, lift, power, crew, money."""

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely import Polygon

from wellring.inputs.site.operations import Operations
from wellring.model.runs.run import Run
from wellring.model.runs.run import run as run_site
from wellring.postprocess.operation.operations import assess_operations, operate
from wellring.postprocess.stage_results import read_results
from wellring.postprocess.water.pipe_losses import PipeLaw, water_density

RING = {"ring": {"offset": 1.0, "count": 8}, "diameter": "300 mm"}
PRICES = """
[operations]
currency = "thalers"
wage = 30.0
night_rate = 1.25
overtime_rate = 1.5
power_price = 0.25
pump_hire = 50.0
drilling = 100.0
discharge_fee = 0.1
discharge_level = 1.0
outfall_distance = 50.0
discharge_limit = "500 m3/h"
volume_limit = 100.0
tank = { length = 6.0, width = 2.0, depth = 1.0, particle = "0.1 mm" }
"""
Runs = Callable[..., Run]


@pytest.fixture
def run_with(tmp_path: Path, plain_site: Callable[..., Path]) -> Runs:
    """Run a small pit in sand with drainage tables, [operations] and the days of its stage."""

    def run_it(
        *tables: dict[str, Any], more: str = "", days: str = "", formation: float = -4.0
    ) -> Run:
        path = plain_site(tmp_path / "site", drainage=tables, formations=(formation,))
        text = path.read_text(encoding="utf-8")
        text = text.replace('name = "dig 1"', f'name = "dig 1"\n{days}')
        path.write_text(text + more, encoding="utf-8")
        (finished,) = run_site(path, figures=False, side_studies=False)
        return finished

    return run_it


def rows(run: Run, table: str) -> list[dict[str, str]]:
    with open(run.folder / "tables" / f"{table}.csv", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_deep_wells_by_hand(run_with: Runs) -> None:
    well = {"screen": [-11.0, -2.0], "hold": -6.0, "pump": {"head": "7 m", "efficiency": 0.6}}
    run = run_with(
        {"method": "deep wells", **RING, **well}, more=PRICES, days="day = 0\nlasts = 14"
    )
    value = {name: answer.value for name, answer in run.answers.answers.items()}
    answers, ledger = run.answers.answers, run.reader.ledger
    flow = np.array([w.flow[1] for w in ledger.wells])
    assert value["01-dig-1.pumps"] == 8
    assert value["01-dig-1.operators"] == 2  # 8 pumps at 5 each
    assert value["01-dig-1.operator_hours"] == 336
    assert value["01-dig-1.discharge_steady"] == pytest.approx(flow.sum(), rel=1e-4)
    assert value["01-dig-1.discharge_volume"] == pytest.approx(flow.sum() * 14 * 86400, rel=1e-4)
    # Lift from the held level to the discharge level, riser and header by the pipe law, by hand.
    law = PipeLaw()
    (done,) = operate(run.reader, run.answers.stages)
    (_, _, header), law_riser = done.made.headers[0], law.diameter(flow.max())
    power = 0.0
    for index, q in enumerate(flow):
        head = (1.0 - ledger.wells[index].level[1]) + float(law.loss(q, law_riser, 12.0))
        out = law.loss(flow.sum(), max(header.diameter, law.diameter(flow.sum())), 50.0)
        head += float(header.loss[index]) + float(out)
        power += float(water_density(10.0)) * 9.81 * q * head / (0.6 * 0.85)
    assert value["01-dig-1.power"] == pytest.approx(power / 1e3, rel=1e-6)
    assert value["energy"] == pytest.approx(power / 1e3 * 14 * 24, rel=1e-6)
    # 7 m of lift alone reach the pumps' 7 m: with friction they do not do it.
    assert any("8 pumps without the head needed" in text for text in run.answers.warnings)
    # Money: each line of the table is quantity times price; sums are those of the answers.
    week = 2 * (168 + 14 + 24) * 30 + power / 1e3 * 168 * 0.25 + 9 * 50
    week += flow.sum() * 7 * 86400 * 0.1
    assert value["01-dig-1.cost_a_week"] == pytest.approx(week, rel=1e-4)
    assert value["cost"] == pytest.approx(2 * week + 8 * 11 * 100, rel=1e-4)
    lines = rows(run, "costs")
    total = sum(float(line["over the stage [thalers]"] or 0) for line in lines)
    assert total == pytest.approx(value["cost"], rel=1e-4)
    assert not [line for line in lines if line["price [thalers]"] and not line["quantity"]]
    assert any("installation (installation)" in text for text in run.answers.warnings)
    assert answers["01-dig-1.discharge_steady"].ok is True
    assert answers["discharge_volume"].ok is False  # 100 m³ allowed
    assert not run.answers.all_ok
    assert answers["01-dig-1.tank_area_needed"].limit == 12.0


def test_wellpoints_share_pumps_and_a_thin_header_takes_their_lift(run_with: Runs) -> None:
    points = {
        "method": "wellpoints",
        "ring": {"offset": 1.0, "spacing": 1.5},
        "header": 0.0,
        "screen": [-6.5, -5.5],
        "points_per_pump": 30,
        "losses": 4.5,
    }
    wide = run_with(points)
    (done,) = operate(wide.reader, wide.answers.stages)
    count = len(wide.reader.ledger.wells)
    assert done.made.pumps == -(-count // 30) == 2
    assert wide.answers.answers["01-dig-1.operators"].value == 1
    assert "01-dig-1.cost_a_week" not in wide.answers.answers  # no prices, no money
    assert sum(duty.flow for duty in done.made.duties) == pytest.approx(
        sum(w.flow[1] for w in wide.reader.ledger.wells)
    )
    assert not any("suction header" in text for text in wide.answers.warnings)
    assert any("by the week only" in text for text in wide.answers.warnings)
    assert "energy" not in wide.answers.answers


def test_a_thin_suction_header_takes_the_lift_of_far_points(run_with: Runs) -> None:
    """Each point draws to its header less its lift, plus what friction takes beyond 0.5 m."""
    points = {
        "method": "wellpoints",
        "ring": {"offset": 1.0, "spacing": 1.5},
        "header": 0.0,
        "screen": [-7.5, -6.5],
        "lift": 5.0,
    }
    run = run_with(points, more="\n[operations]\nheader_diameter = '50 mm'\n")
    (said,) = [text for text in run.answers.warnings if "suction header" in text]
    lost = {
        row["point"]: float(row["head lost to the station [m]"]) for row in rows(run, "headers")
    }
    assert f"at {sum(loss > 0.5 for loss in lost.values())} points" in said
    assert list(lost.values())[len(lost) // 2] == 0.0
    assert max(lost.values()) > 0.7, "friction must matter"
    assert not any("did not settle" in text for text in run.answers.warnings)
    held = [w for w in run.reader.ledger.wells if w.governing[1] == "level"]
    assert len(held) > len(lost) / 2
    for well in held:
        assert well.level[1] == pytest.approx(-5.0 + max(lost[well.name] - 0.5, 0.0), abs=2e-3)


def test_ejectors_take_the_power_of_their_supply(run_with: Runs) -> None:
    run = run_with(
        {"method": "ejectors", "ring": {"offset": 1.0, "count": 20}, "screen": [-11.0, -4.0],
         "nozzle": -7.0, "outlet": 1.0, "supply_pressure": "800 kPa", "nozzle_flow": "0.6 L/s",
         "pump_efficiency": 0.6, "points_per_station": 10},
        more="\n[operations]\nmotor_efficiency = 1.0\n",
    )  # fmt: skip
    value = run.answers.answers["01-dig-1.power"].value
    (done,) = operate(run.reader, run.answers.stages)
    stations = [duty for duty in done.made.duties if duty.kind == "ejectors"]
    sump = sum(duty.power for duty in done.made.duties if duty.kind == "sump")
    assert len(stations) == 2
    # Supply × pressure / efficiency: 20 · 0.6 L/s · 800 kPa / 0.6 = 16.0 kW.
    assert value - sump / 1e3 == pytest.approx(16.0, rel=1e-6)
    kinds = [kind for _, kind, _ in done.made.headers]
    assert kinds == ["supply", "return", "supply", "return"]
    back = sum(float(h.carried[h.station]) for _, kind, h in done.made.headers if kind == "return")
    assert back == pytest.approx(20 * 0.6e-3 + sum(w.flow[1] for w in run.reader.ledger.wells))


def test_sump_lifts_from_formation_and_recharge_is_not_discharged(run_with: Runs) -> None:
    run = run_with(
        {"method": "sump", "pump_capacity": "1 m3/h"},
        {"method": "recharge wells", "points": [(30, 5), (30, 8)], "screen": [-8.0, -2.0],
         "diameter": "300 mm", "head_limit": 0.0, "rate": "1 m3/h"},
        more=PRICES,
    )  # fmt: skip
    (done,) = operate(run.reader, run.answers.stages)
    sump = next(duty for duty in done.made.duties if duty.kind == "sump")
    assert sump.static == 5.0  # from −4 to +1
    flow = run.answers.stages[1].inflow
    assert flow is not None
    assert sump.flow == pytest.approx(flow.excavation)
    steady = run.answers.answers["01-dig-1.discharge_steady"].value
    assert steady == pytest.approx(flow.excavation - 2 / 3600, rel=1e-3)
    recharge = next(duty for duty in done.made.duties if duty.kind == "recharge wells")
    assert (recharge.pumps, recharge.flow) == (1, pytest.approx(2 / 3600, rel=1e-3))
    assert any("the pit floods" in text for text in run.answers.warnings)


def test_what_the_first_days_give_beyond_the_steady_state_is_told(run_with: Runs) -> None:
    """C29: about 30 % more, a rule of thumb (UFC 3-220-05, 2004, para. 4-1f, read)."""
    well = {"method": "deep wells", **RING, "screen": [-11.0, -2.0], "hold": -6.0}
    reader = run_with(well, more="\n[operations]\n").reader
    results = read_results(reader)
    steady = assess_operations(reader, results).answers["01-dig-1.discharge_steady"].value
    assert isinstance(steady, float)

    def told(limit: float) -> list[str]:
        given = Operations(discharge_limit=limit)
        other = reader.description.model_copy(update={"operations": given})
        warnings = assess_operations(reader.reassessed(other, {}), results).warnings
        return [text for text in warnings if "about 30% as a rule (UFC 3-220-05" in text]

    for share, exceeds in ((1.31, False), (1.29, True), (0.99, False)):
        (text,) = told(share * steady)
        assert ("would exceed it in dig 1" in text) == exceeds, share


def test_volume_and_peak_come_from_the_run_in_time(run_with: Runs) -> None:
    run = run_with(
        {"method": "deep wells", **RING, "screen": [-11.0, -2.0], "hold": -6.0},
        more="\n[time]\npumping_starts = -3\nfirst_step = 0.2\nstep_growth = 2.0\n",
        days="day = 0\nlasts = 7",
        formation=-3.0,
    )
    value = {name: answer.value for name, answer in run.answers.answers.items()}
    pumped = rows(run, "time")
    assert value["01-dig-1.discharge_peak"] > value["01-dig-1.discharge_steady"]
    assert not any("add [time] to know the peak" in text for text in run.answers.warnings)
    steady = value["01-dig-1.discharge_steady"] * 10 * 86400
    assert value["discharge_volume"] > 1.001 * steady
    name = next(key for key in pumped[0] if key.endswith("[m3]"))
    assert value["discharge_volume"] == pytest.approx(float(pumped[-1][name]), rel=1e-6)


def test_walls_are_paid_for_by_their_area(run_with: Runs) -> None:
    """Around the pit, from the ground (given) to a toe that runs from one corner to the next."""
    run = run_with(
        {"method": "deep wells", "screen": [-11.0, -2.0], "hold": -6.0, **RING},
        more='\n[operations]\ncurrency = "thalers"\nmobilisation = 500.0\n'
        '\n[[walls]]\nkind = "soldier pile and lagging"\nname = "soldier piles"\n'
        "toe = [-8.0, -6.0, -8.0, -6.0]\nprice = 100.0\n"
        '\n[[walls]]\nkind = "sheet pile"\nname = "piles"\ntop = -1.0\ntoe = -5.0\n'
        'joint_resistance = "1e-8 m/s"\n',
        days="day = 0\nlasts = 14",
    )
    around = Polygon(run.reader.ledger.outline).length
    ground = float(run.answers.stages[0].grid.top[0].max())
    told = {row["item"]: row for row in rows(run, "costs")}
    area = around * (ground + 7.0)  # the toes lie 7 m deep on the average
    assert float(told["wall: soldier piles"]["quantity"]) == pytest.approx(area, rel=1e-3)
    assert told["wall: soldier piles"]["price from"] == "walls.price"
    assert told["wall: soldier piles"]["its unit"] == "m2"
    assert float(told["wall: soldier piles"]["over the stage [thalers]"]) == pytest.approx(
        100.0 * area, rel=1e-3
    )
    assert float(told["wall: piles"]["quantity"]) == pytest.approx(4.0 * around, rel=1e-6)
    assert told["wall: piles"]["price [thalers]"] == ""
    assert run.answers.answers["cost"].value == pytest.approx(500.0 + 100.0 * area, rel=1e-3)
    (missing,) = [text for text in run.answers.warnings if "for want of a price" in text]
    assert "wall: piles (price)" in missing


def test_hire_over_a_stage_counts_weeks(run_with: Runs) -> None:
    """Eight pumps and a standby for two weeks: 18 pump weeks, at 50 each."""
    run = run_with(
        {"method": "deep wells", "screen": [-11.0, -2.0], "hold": -6.0, **RING},
        more='\n[operations]\ncurrency = "thalers"\npump_hire = 50.0\n',
        days="day = 0\nlasts = 14",
    )
    (hire,) = [row for row in rows(run, "costs") if row["item"] == "pump hire"]
    assert (float(hire["quantity"]), hire["unit"]) == (9.0, "pumps")
    assert (float(hire["quantity over the stage"]), hire["its unit"]) == (18.0, "pumps × weeks")
    assert float(hire["over the stage [thalers]"]) == 900.0
