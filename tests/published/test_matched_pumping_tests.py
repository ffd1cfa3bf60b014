"""C36, C37: real pumping tests, from readings to the aquifer's properties, by `wellring match`.

Oude Korendijk (Wit 1963; Kruseman & de Ridder, Analysis and Evaluation of Pumping Test Data, 2nd
ed. 1994, table 3.2). Readings as digitised in timflow's documentation (MIT). A confined aquifer
of coarse sand 7 m thick, pumped 14 hours at 788 m³/d, piezometers 30 and 90 m away.

Dalem (de Ridder 1961; the same book, chapter 4; digitised there likewise): sand 37 m thick under a
semi-pervious cover, pumped 8 hours at 761 m³/d, piezometers 30, 60, 90 and 120 m away.
"""

from pathlib import Path

import numpy as np

from wellring.model.studies.match.match import match

DAY = 86400.0
THICK, RATE = 7.0, 788.0
"""m, m³/d."""
READINGS = {
    "H30": """0.1 0.040 0.25 0.080 0.50 0.130 0.70 0.180 1.0 0.230 1.40 0.280 1.90 0.330 2.33 0.360
        2.80 0.390 3.36 0.420 4.00 0.450 5.35 0.500 6.80 0.540 8.3 0.570 8.7 0.580 10.0 0.600
        13.1 0.640 18 0.680 27 0.742 33 0.753 41 0.779 48 0.793 59 0.819 80 0.855 95 0.873
        139 0.915 181 0.935 245 0.966 300 0.990 360 1.007 480 1.050 600 1.053 728 1.072
        830 1.088""",
    "H90": """1.5 0.015 2.0 0.021
        2.16 0.023 2.66 0.044 3 0.054 3.5 0.075 4 0.090 4.33 0.104 5.5 0.133
        6 0.153 7.5 0.178 9 0.206 13 0.250 15 0.275 18 0.305 25 0.348 30 0.364 40 0.404 53 0.429
        60 0.444 75 0.467 90 0.494 105 0.507 120 0.528 150 0.550 180 0.569 248 0.593 301 0.614
        363 0.636 422 0.657 542 0.679 602 0.688 680 0.701 785 0.718 845 0.716""",
}
"""Minutes and drawdown [m], in turn."""


def oude_korendijk(check_site):
    """The well takes water over the sand's whole height, so that sublayers add nothing."""
    return check_site(
        ground=0.0,
        layers=[("clay", -18.0), ("sand", -18.0 - THICK)],
        soils={
            "clay": {"kh": 1e-11, "kv": 1e-11, "ss": 1e-6},
            "sand": {"kh": 2e-4, "kv": 2e-4, "ss": 5e-5},
        },
        level=-1.0,
        pit=check_site.square(5.0),
        source_distance=3000.0,
        drainage=[
            {
                "points": [(0, 0)],
                "screen": [-18.0 - THICK, -18.0],
                "diameter": 0.3,
                "rate": RATE / DAY,
            }
        ],
        points={"H30": (30.0, 0.0, -21.5), "H90": (90.0, 0.0, -21.5)},
        stages=[{"name": "pumping", "day": 0, "lasts": 0.6}],
        time={},
        grid={"cell": 2.5, "growth": 1.4, "largest": 400.0, "sublayer": 20.0},
    )


PLAN = """
observations = "readings.csv"
cases = 0
[[parameters]]
path = "soils.sand.kh"
together = ["soils.sand.kv"]
[[parameters]]
path = "soils.sand.ss"
"""


def test_oude_korendijk(check_site, tmp_path, within):
    """Begun with k three times too low and storage twice too high.

    Expected: Theis by least squares on the same readings (CHECKS C36, recomputed with scipy). The
    hand fit that Kruseman & de Ridder quote is T 390 m²/d, S 1.7e-4, from the 30 m piezometer.
    """
    path = oude_korendijk(check_site).write(tmp_path)
    rows = ["kind,point,day,value,error"]
    for point, text in READINGS.items():
        numbers = text.split()
        for minutes, fall in zip(numbers[::2], numbers[1::2], strict=True):
            rows.append(f"drawdown,{point},{minutes} min,{fall} m,5 cm")
    (tmp_path / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    done = match(path, plan_file=tmp_path / "plan.toml", figures=False)
    k, ss = done.values
    assert len(done.readings) == 69
    within("T", k * THICK * DAY, 462.616, 3)
    within("S", ss * THICK, 0.000177878, 10)
    rmse = float((done.frame["residual"] ** 2).mean() ** 0.5)
    within("RMSE", rmse, 0.0500603, 5)
    (k_low, k_high), (ss_low, ss_high) = done.intervals
    assert k_low * THICK * DAY < 462.6 < k_high * THICK * DAY
    assert ss_low * THICK < 1.7e-4 < ss_high * THICK
    assert 0.9 < done.fit.scale < 1.15  # errors of 5 cm are what the residuals turn out to be
    assert done.open_directions == []


def dalem(check_site, k, ss, roof):
    """The cover is a thin roof, as good as without storage, under water at a level that is held."""
    thick = 37.0
    return check_site.leaky(
        depth=8.0,
        thick=thick,
        roof={"kh": roof, "kv": roof},
        sand={"kh": k, "kv": k, "ss": ss},
        rate=761.0 / DAY,
        source_distance=4000.0,
        points={f"D{r}": (r, 0.0, -26.0) for r in (30, 60, 90, 120)},
        stages=[{"name": "pumping", "day": 0, "lasts": 0.35}],
        time={"first_step": 60.0 / DAY},
        grid={"cell": 2.5, "growth": 1.4, "largest": 400.0, "sublayer": thick},
    )


ROOF = """
[[parameters]]
path = "soils.roof.kv"
together = ["soils.roof.kh"]
"""


def test_dalem(check_site, tmp_path, within):
    """Begun with k half as high, storage half and the cover's resistance a third of what is found.

    Expected: Hantush by least squares on the same 51 readings (CHECKS C37, recomputed with scipy).
    """
    transmissivity, storativity, c = 1677.28, 1.76202e-3, 331.146
    path = dalem(
        check_site, transmissivity / 37 / DAY / 2, storativity / 37 / 2, 0.5 / (c * DAY) * 3
    ).write(tmp_path)
    rows = ["kind,point,day,value,error"]
    for r in (30, 60, 90, 120):
        file = Path(__file__).parent / "pumping_tests" / f"dalem_{r}.txt"
        for day, head in np.loadtxt(file, skiprows=1):
            rows.append(f"drawdown,D{r},{day:g},{-head:g} m,6 mm")
    (tmp_path / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (tmp_path / "plan.toml").write_text(PLAN + ROOF, encoding="utf-8")
    done = match(path, plan_file=tmp_path / "plan.toml", figures=False)
    k, ss, roof = done.values
    print(done.values, done.intervals, done.fit.scale)
    within("readings", len(done.readings), 51, 1e-9)
    within("T", k * 37 * DAY, transmissivity, 3)
    within("S", ss * 37, storativity, 5)
    within("c", 0.5 / roof / DAY, c, 5)
    rmse = float((done.frame["residual"] ** 2).mean() ** 0.5)
    within("RMSE", rmse, 0.00591685, 5)
    (k_low, k_high), (ss_low, ss_high), (roof_low, roof_high) = done.intervals
    assert k_low * 37 * DAY < transmissivity < k_high * 37 * DAY
    assert ss_low * 37 < storativity < ss_high * 37
    assert roof_low < 0.5 / c / DAY < roof_high
