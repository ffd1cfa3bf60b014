"""Settlement against MODFLOW 6's own CSUB package, an independent way from heads to compaction.

One column of sand over clay over gravel. CSUB's no-delay interbeds with compression indices, its
effective-stress formulation, moist and saturated weights and preconsolidation stress, against our
sums over the same heads. The levels in sand and gravel fall in small steps, each long enough for
steady flow; CSUB linearises its logarithm a step, so the steps must be small.
Source of CSUB: Hughes et al. (2022), USGS Techniques and Methods 6-A62. Its stress is that at a
cell's bottom, ours the mean of a cell: cells of 0.1 m keep that apart by less than 0.5 %.
C23, CSUB's delay interbed, is the last test here.
"""

import subprocess
from pathlib import Path

import flopy
import numpy as np
import pytest

from wellring.inputs.basics.units import DAY, WATER_UNIT_WEIGHT
from wellring.postprocess.run.run_folder import StageGrid
from wellring.postprocess.settlement.compressibility import Laws
from wellring.postprocess.settlement.effective_stress import Weights, effective_stress
from wellring.postprocess.settlement.settlement import settlement_from_heads

EDGES = np.concatenate(
    [np.linspace(0, -5, 26), np.linspace(-5, -8, 31)[1:], np.linspace(-8, -12, 9)[1:]]
)
CLAY = slice(25, 55)
CC, CR, E0, POP = 0.40, 0.06, 1.1, 6e3
STEPS = 120
START, SAND, GRAVEL = -1.0, -4.0, -6.0
SATURATED = {"sand": 20e3, "clay": 17e3, "gravel": 21e3}
SY = {"sand": 0.20, "clay": 0.03, "gravel": 0.25}

INTERBED = {100.0: 3.56823, 500.0: 7.6395, 1000.0: 9.3126}
"""Days and published compaction [mm] of C23."""
SKV, INTERBED_K, FALL = 0.01, 2.5e-6, 1.0
"""Inelastic specific storage [1/m] and Kv [m/d] of its interbed, fall of heads around it [m]."""


def soil_of_cells() -> list[str]:
    mid = 0.5 * (EDGES[1:] + EDGES[:-1])
    return ["sand" if z > -5 else "clay" if z > -8 else "gravel" for z in mid]


def solve_with_csub(folder: Path, solver: Path) -> tuple[np.ndarray, np.ndarray, float]:
    """Heads before and after, and CSUB's compaction of the clay [m]."""
    soils = soil_of_cells()
    sim = flopy.mf6.MFSimulation(sim_ws=str(folder), exe_name=str(solver))
    periods = [(1.0, 1, 1.0)] + [(1e6, 1, 1.0)] * STEPS
    flopy.mf6.ModflowTdis(sim, nper=len(periods), perioddata=periods, time_units="days")
    flopy.mf6.ModflowIms(
        sim,
        complexity="complex",
        outer_dvclose=1e-9,
        inner_dvclose=1e-10,
        rcloserecord=[1e-8, "strict"],
        outer_maximum=200,
    )
    model = flopy.mf6.ModflowGwf(sim, modelname="gwf", newtonoptions="newton", save_flows=True)
    count = EDGES.size - 1
    flopy.mf6.ModflowGwfdis(model, nlay=count, nrow=1, ncol=1, top=EDGES[0], botm=EDGES[1:])
    flopy.mf6.ModflowGwfic(model, strt=START)
    k = {"sand": 10.0, "clay": 1e-4, "gravel": 50.0}
    flopy.mf6.ModflowGwfnpf(model, icelltype=1, k=[k[soil] for soil in soils])
    flopy.mf6.ModflowGwfsto(
        model, iconvert=1, ss=0.0, sy=[SY[soil] for soil in soils],
        steady_state={0: True}, transient={1: True},
    )  # fmt: skip
    held = {}
    for step in range(STEPS + 1):
        share = step / STEPS
        held[step] = [
            ((24, 0, 0), START + share * (SAND - START)),
            ((count - 1, 0, 0), START + share * (GRAVEL - START)),
        ]
    flopy.mf6.ModflowGwfchd(model, stress_period_data=held)
    clay = range(CLAY.start, CLAY.stop)
    flopy.mf6.ModflowGwfcsub(
        model,
        compression_indices=True,
        ninterbeds=len(clay),
        beta=0.0,
        gammaw=WATER_UNIT_WEIGHT,
        sgm=[SATURATED[s] / WATER_UNIT_WEIGHT - SY[s] for s in soils],
        sgs=[SATURATED[s] / WATER_UNIT_WEIGHT for s in soils],
        cg_theta=0.3,
        cg_ske_cr=1e-12,
        packagedata=[
            (number, (layer, 0, 0), "nodelay", POP / WATER_UNIT_WEIGHT, 1.0, 1.0,
             CC, CR, E0 / (1 + E0), 999.0, 999.0)
            for number, layer in enumerate(clay)
        ],
        cell_fraction=True,
        compaction_filerecord="compaction.bin",
    )  # fmt: skip
    flopy.mf6.ModflowGwfoc(
        model, head_filerecord="gwf.hds", saverecord=[("head", "all")], budget_filerecord="gwf.bud"
    )
    sim.write_simulation(silent=True)
    done = subprocess.run([solver], cwd=folder, capture_output=True, text=True, check=False)
    assert "Normal termination" in done.stdout, done.stdout[-2000:]
    with flopy.utils.HeadFile(folder / "gwf.hds") as file:
        heads = file.get_alldata()[:, :, 0, 0]
    with flopy.utils.HeadFile(folder / "compaction.bin", text="CSUB-COMPACTION") as file:
        compaction = file.get_alldata()[-1, :, 0, 0]
    return heads[0], heads[-1], float(compaction[CLAY].sum())


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_clay_between_lowered_sands(tmp_path, solver, within):
    before, after, csub = solve_with_csub(tmp_path, solver)
    assert before == pytest.approx(np.full(before.size, START), abs=1e-6)
    assert after[24] == pytest.approx(SAND, abs=1e-6)
    grid = StageGrid(EDGES[:, None], np.ones((EDGES.size - 1, 1), bool))
    names = list(SATURATED)
    unit = np.array([names.index(soil) for soil in soil_of_cells()], np.int16)[:, None]
    weights = Weights(np.array(list(SATURATED.values())), np.array(list(SY.values())))
    zero, nan = np.zeros(3), np.full(3, np.nan)
    laws = Laws(
        mv=np.array([0.0, np.nan, 0.0]),
        cc=np.array([0.0, CC / (1 + E0), 0.0]),
        cr=np.array([0.0, CR / (1 + E0), 0.0]),
        ocr=np.ones(3),
        pop=np.array([0.0, POP, 0.0]),
        cv=nan,
        kv=zero,
        counted=np.ones(3, bool),
    )
    first = effective_stress(grid, before[:, None], unit, weights)
    last = effective_stress(grid, after[:, None], unit, weights)
    bears = laws.preconsolidation(unit, first)
    strain = laws.strain(unit, first, last, bears, np.maximum(bears, last))
    ours = float((strain * (grid.top - grid.bottom)).sum())
    # Well into virgin compression, and not by the preconsolidated part alone.
    assert (last > 1.15 * bears)[CLAY].all()
    within("compaction of the clay", ours, csub, 1.0)


def delay_interbed(folder: Path, solver: Path) -> list[float]:
    """CSUB's compaction [mm] of its delay interbed on the days of :data:`INTERBED`."""
    sim = flopy.mf6.MFSimulation(sim_ws=str(folder), exe_name=str(solver))
    ends = list(INTERBED)
    lengths = np.diff([0.0, *ends])
    periods = [(length, 60, 1.05) for length in lengths]
    flopy.mf6.ModflowTdis(sim, nper=len(periods), perioddata=periods, time_units="days")
    flopy.mf6.ModflowIms(
        sim,
        outer_maximum=1000,
        outer_dvclose=1e-9,
        inner_dvclose=1e-9,
        linear_acceleration="bicgstab",
    )
    model = flopy.mf6.ModflowGwf(sim, modelname="gwf", newtonoptions="newton")
    flopy.mf6.ModflowGwfdis(model, nlay=1, nrow=1, ncol=3, top=0.0, botm=-1000.0)
    flopy.mf6.ModflowGwfic(model, strt=0.0)
    flopy.mf6.ModflowGwfnpf(model, k=1e6)
    flopy.mf6.ModflowGwfsto(model, ss=0.0, transient={0: True})
    flopy.mf6.ModflowGwfchd(model, stress_period_data=[((0, 0, 0), 0.0), ((0, 0, 2), 0.0)])
    # The interbed begins, and has borne, one metre above the head that is held around it.
    flopy.mf6.ModflowGwfcsub(
        model,
        head_based=True,
        ndelaycells=39,
        ninterbeds=1,
        beta=0.0,
        cg_ske_cr=0.0,
        packagedata=[
            (0, (0, 0, 1), "delay", FALL, 1.0, 1.0, SKV, 1e-5, 0.45, INTERBED_K, FALL)
        ],
        compaction_filerecord="compaction.bin",
    )  # fmt: skip
    flopy.mf6.ModflowGwfoc(model, head_filerecord="gwf.hds", saverecord=[("head", "last")])
    sim.write_simulation(silent=True)
    done = subprocess.run([solver], cwd=folder, capture_output=True, text=True, check=False)
    assert "Normal termination" in done.stdout, done.stdout[-2000:]
    with flopy.utils.HeadFile(folder / "compaction.bin", text="CSUB-COMPACTION") as file:
        when = np.array(file.get_times())
        steps = [int(np.argmin(np.abs(when - day))) for day in ends]
        assert when[steps] == pytest.approx(ends)
        return [1e3 * float(file.get_data(idx=step)[0, 0, 1]) for step in steps]


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_interbed_in_time(tmp_path, solver, solve, check_site, within):
    """C23: 1 m of clay, Kv 2.5e-6 m/d, 0.01 1/m, heads around it lowered by 1 m, followed in time.

    MODFLOW 6's example ex-gwf-csub-p02a (read): CSUB's delay interbed, τ = (b/2)²·Ss/Kv = 1000 d;
    the figures are b·Ss·Δh·U(t/τ) of Terzaghi's series (Hoffmann et al. 2003). Our models have no
    interbeds. The same clay is a layer of its own between two sands, drained at both ends, under a
    cap whose water stays where it is; the pressures in its sublayers give the settlement. Steps
    are 2.5 days at most: those of the default, which grow by 1.15, leave 2.2 % after 100 days.
    """
    stiff = {"kh": 1e-3, "kv": 1e-3, "compression": {"e_oed": "900 MPa"}, "ss": 1e-6}
    k = INTERBED_K / DAY
    soft = {"mv": SKV / WATER_UNIT_WEIGHT}
    lowered = START - FALL
    solved = solve(
        check_site(
            ground=0.0,
            layers=[("cap", -20.0), ("sand", -30.0), ("clay", -31.0), ("gravel", -40.0)],
            soils={
                "cap": {"kh": 1e-13, "kv": 1e-13},
                "sand": stiff,
                "clay": {"kh": k, "kv": k, "ss": SKV, "compression": soft},
                "gravel": stiff,
            },
            level=START,
            pit=check_site.square(5.0),
            source_distance=100.0,
            boundaries=[
                {
                    "kind": "fixed_head",
                    "polygon": check_site.square(200.0),
                    "head": "fall.csv",
                    "soils": ["sand", "gravel"],
                }
            ],
            files={"fall.csv": f"day,head\n-1,{START}\n0,{START}\n0.1,{lowered}\n2000,{lowered}\n"},
            points={"street": (50.0, 0.0, -25.0)},
            stages=[{"name": "low", "day": 0, "lasts": 1000}],
            time={"first_step": 0.1, "longest_step": 2.5},
            grid={"cell": 10.0, "growth": 2.0, "sublayer": 20.0},
        )
    )
    reader = solved.folder
    (street,) = reader.ledger.points
    cells = np.array([reader.plan_cell(street.x, street.y)], dtype=np.intp)
    (phase,) = reader.ledger.phases
    course = [
        (day, 1e3 * float(parts["clay"][0]))
        for day, parts in settlement_from_heads(
            reader, solved.results, reader.heads_in_time(phase), cells
        )
    ]
    days, settled = np.array(course).T
    csub = delay_interbed(tmp_path / "csub", solver)
    for (day, published), other in zip(INTERBED.items(), csub, strict=True):
        ours = float(np.interp(day, days, settled))
        within(f"our clay, {day:g} d [mm]", ours, published, 2)
        within(f"CSUB's interbed, {day:g} d [mm]", other, published, 2)
