"""Boring logs from CSV files: what is read of them, and what is warned of."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely import box

from wellring.inputs.basics.faults import Fault, FaultLog
from wellring.inputs.logs.borings import Boring, BoringLogs, Interval, WaterReading
from wellring.inputs.logs.read_borings import read_borings
from wellring.inputs.site.site import Borings

SOILS = ("fill", "sand", "clay")
COLLARS = "id,x,y,ground,final_depth\nB1,100,10200,5,10\nB2,130,10210,5.5,8\n"
LAYERS = (
    "id,top_depth,bottom_depth,soil\n"
    "B1,0,2,fill\nB1,2,6,sand\nB1,6,10,clay\n"
    "B2,0,3,sand\nB2,3,8,clay\n"
)
WATER = "id,date,level,soil,kind\nB1,2024-03-01,2.5,sand,level\nB2,2024-03-02T10:30,1.5,,strike\n"
EXPECTED = BoringLogs(
    (
        Boring(
            "B1", 100, 10200, 5, -5,
            (Interval(5, 3, "fill"), Interval(3, -1, "sand"), Interval(-1, -5, "clay")),
        ),
        Boring(
            "B2", 130, 10210, 5.5, -2.5,
            (Interval(5.5, 2.5, "sand"), Interval(2.5, -2.5, "clay")),
        ),
    ),
    (
        WaterReading("B1", 2.5, "2024-03-01", "sand", "level"),
        WaterReading("B2", 1.5, "2024-03-02T10:30", None, "strike"),
    ),
)  # fmt: skip


def read(
    folder: Path, files: dict[str, str | bytes], codes: dict[str, str] | None = None, **site: Any
) -> tuple[BoringLogs, FaultLog]:
    for name, content in files.items():
        raw = content.encode() if isinstance(content, str) else content
        (folder / name).write_bytes(raw)
    faults = FaultLog()
    table = Borings(files=tuple(files), codes=codes or {})
    return read_borings(table, folder, SOILS, faults, **site), faults


def three(
    collars: str | bytes = COLLARS, layers: str | bytes = LAYERS, water: str | bytes = WATER
) -> dict[str, str | bytes]:
    return {"collars.csv": collars, "layers.csv": layers, "water.csv": water}


def only(faults: FaultLog) -> Fault:
    assert len(faults.faults) == 1, "\n".join(map(str, faults.faults))
    return faults.faults[0]


def test_logs_in_depths(tmp_path: Path) -> None:
    logs, faults = read(tmp_path, three())
    assert (faults.faults, faults.warnings) == ([], [])
    assert logs == EXPECTED


def test_logs_in_levels_and_feet_semicolons_decimal_commas_bom_and_crlf(tmp_path: Path) -> None:
    collars = "\ufeffID;X [ft];Y (ft);Ground;Final level\r\nB1;328,0839895;33464,566929;5;-5\r\n"
    layers = (
        "id\tsoil\tTop_Level\tBottom_Level\nB1\tfill\t5\t3\nB1\tsand\t3\t-1\nB1\tclay\t-1\t-5\n"
    )
    logs, faults = read(tmp_path, {"c.csv": collars, "l.csv": layers})
    assert faults.faults == []
    assert faults.warnings == ["c.csv: 2 numbers with a comma are read as decimals, 9,5 as 9.5"]
    boring = logs.borings[0]
    assert (boring.x, boring.y) == pytest.approx((100, 10200))
    assert boring.intervals == EXPECTED.borings[0].intervals


def test_plain_top_and_bottom_are_depths_where_they_grow_from_zero(tmp_path: Path) -> None:
    layers = LAYERS.replace("top_depth,bottom_depth", "top,bottom")
    logs, faults = read(tmp_path, three(layers=layers))
    assert faults.faults == []
    assert logs == EXPECTED


def test_water_given_as_depth(tmp_path: Path) -> None:
    water = (
        "id,date,depth,soil,kind\nB1,2024-03-01 00:00,2.5,sand,\nB2,2024-03-02 10:30,4,,Strike\n"
    )
    logs, faults = read(tmp_path, three(water=water))
    assert faults.faults == []
    assert logs == EXPECTED


def test_round_off_is_closed_and_equal_neighbours_are_merged(tmp_path: Path) -> None:
    layers = (
        "id,top_depth,bottom_depth,soil\n"
        "B1,0.005,2,fill\nB1,2.008,3,sand\nB1,2.995,6,sand\nB1,6,10,clay\nB2,0,3,sand\nB2,3,8,clay\n"
    )
    logs, faults = read(tmp_path, three(layers=layers))
    assert (faults.faults, faults.warnings) == ([], [])
    assert logs == EXPECTED


def test_codes_come_before_soils_and_rows_in_any_order_are_read(tmp_path: Path) -> None:
    head, *rows = LAYERS.replace("fill", "Made  Ground").replace("clay", "ZC").splitlines()
    layers = "\n".join([head, *reversed(rows), ""])
    logs, faults = read(tmp_path, three(layers=layers), {"Made Ground": "fill", "ZC": "clay"})
    assert faults.faults == []
    assert logs == EXPECTED


def test_blank_rows_and_quoted_line_breaks_keep_the_line_numbers(tmp_path: Path) -> None:
    layers = (
        '\nid,top_depth,bottom_depth,soil,remark\nB1,0,2,fill,"two\nlines"\n\n'
        "B1,2,six,sand,\nB2,0,8,clay,\n"
    )
    fault = only(read(tmp_path, three(layers=layers))[1])
    assert (fault.line, fault.place, fault.value) == (6, "row 5, column bottom_depth", "six")


def swap(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new)


def collars(old: str, new: str) -> dict[str, str | bytes]:
    return three(collars=swap(COLLARS, old, new))


def layers(old: str, new: str) -> dict[str, str | bytes]:
    return three(layers=swap(LAYERS, old, new))


def water(old: str, new: str) -> dict[str, str | bytes]:
    return three(water=swap(WATER, old, new))


AREA = box(0, 10000, 300, 10300)


def test_a_code_for_a_soil_that_does_not_exist(tmp_path: Path) -> None:
    files = layers("B1,2,6,sand", "B1,2,6,SP")
    fault = only(read(tmp_path, files, {"SP": "sandy"})[1])
    assert (fault.place, fault.value) == ("row 3, column soil", "SP")
    assert "[borings.codes] makes it 'sandy'" in str(fault)
    assert "Did you mean 'sand'?" in str(fault)


@pytest.mark.parametrize("name", ["gone.csv", "sub"])
def test_files_that_are_not_there_or_are_folders(name: str, tmp_path: Path) -> None:
    (tmp_path / "sub").mkdir()
    (tmp_path / "c.csv").write_text(COLLARS)
    (tmp_path / "l.csv").write_text(LAYERS)
    faults = FaultLog()
    logs = read_borings(Borings(files=("c.csv", name, "l.csv")), tmp_path, SOILS, faults)
    fault = only(faults)
    assert (fault.file, fault.place, fault.value) == (name, "[borings] files", name)
    assert logs.borings == EXPECTED.borings


def test_files_outside_the_site_folder_are_read_once(tmp_path: Path) -> None:
    site = tmp_path / "site"
    site.mkdir()
    for name, content in three().items():
        (tmp_path / name).write_text(str(content))
    faults = FaultLog()
    names = ("../collars.csv", "../layers.csv", "../water.csv")
    assert read_borings(Borings(files=names), site, SOILS, faults) == EXPECTED
    assert faults.faults == []
    again = Borings(files=(*names, "../site/../layers.csv"))
    assert read_borings(again, site, SOILS, faults) == EXPECTED
    assert only(faults).value == "../site/../layers.csv"
    assert "each file once" in str(only(faults))


@pytest.mark.parametrize(
    ("files", "lacking"), [({"l.csv": LAYERS}, "collars"), ({"c.csv": COLLARS}, "layers")]
)
def test_no_collars_or_no_layers_at_all(
    files: dict[str, str | bytes], lacking: str, tmp_path: Path
) -> None:
    fault = only(read(tmp_path, files)[1])
    assert fault.place == "[borings] files"
    assert f"a file with {lacking}" in str(fault)


def test_ids_are_unique_across_files(tmp_path: Path) -> None:
    files = three() | {"more.csv": "id,x,y,ground\nB2,190,10260,5\n"}
    fault = only(read(tmp_path, files)[1])
    assert (fault.file, fault.value) == ("more.csv", "B2")
    assert "row 3 of collars.csv" in str(fault)


def test_all_faults_are_found_at_once_and_sound_borings_are_read(tmp_path: Path) -> None:
    files = three(
        collars=swap(COLLARS, "B2,130,10210", "B2,x,y"),
        layers=swap(LAYERS, "B2,3,8,clay", "B2,3,8,loam"),
        water=swap(WATER, "2024-03-02T10:30", "tomorrow"),
    )
    logs, faults = read(tmp_path, files)
    assert {(fault.file, fault.value) for fault in faults.faults} == {
        ("collars.csv", "x"), ("collars.csv", "y"), ("layers.csv", "loam"),
        ("water.csv", "tomorrow"),
    }  # fmt: skip
    assert logs.borings == EXPECTED.borings[:1]


def test_many_faults_of_one_sort_are_counted(tmp_path: Path) -> None:
    rows = "".join(f"B1,{2 + i / 10},{2.1 + i / 10},x{i}\n" for i in range(3))
    gaps = "".join(f"B1,{i}.5,{i + 1},clay\n" for i in range(6, 60))
    files = three(
        layers=LAYERS.replace("B1,6,10,clay\n", gaps),
        collars="id,x,y,ground\nB1,1,2,5\nB2,9,9,5.5\n",
    )
    faults = read(tmp_path, files)[1].faults
    assert len(faults) == 21
    assert "34 more rows, column top_depth" in str(faults[-1])
    faults = read(tmp_path, three(layers=LAYERS.replace("B1,2,6,sand\n", rows)))[1].faults
    assert [fault.value for fault in faults if fault.place.endswith("soil")] == ["x0", "x1", "x2"]


#: What is odd → files, words of the warning.
ODD: dict[str, tuple[dict[str, str | bytes], tuple[str, ...]]] = {
    "outside the area": (collars("B2,130,10210", "B2,330,10210"), ("B2 by 30 m", "row 3")),
    "ground off the site's": (
        collars("B1,100,10200,5,10", "B1,100,10200,5,10\nB3,150,10150,9,4"),
        ("row 3 of collars.csv", "B3 is 9.00 m", "5.00 m there", "datum"),
    ),
    "artesian": (water("01,2.5", "01,5.7"), ("row 2 of water.csv", "0.70 m above", "artesian")),
    "no date": (water("2024-03-01", ""), ("without a date", "row 2 of water.csv")),
    "dry": (water("02T10:30,1.5", "02T10:30,Dry"), ("1 dry readings", "row 3")),
    "not logged to its end": (
        collars("5.5,8", "5.5,9"), ("B2 is not logged below level -2.50 m",),
    ),
    "piezometer without layers": (
        collars("\nB2", "\nP1,160,10200,5,10\nB2"), ("boring P1 has no layers",),
    ),
    "misspelt optional column": (
        collars("final_depth", "final_dept"), ("final_dept", "did you mean final_depth?"),
    ),
    "some without a datum": (
        three(collars="id,x,y,ground,datum\nB1,100,10200,5,Mark\nB2,130,10210,5.5,\n"),
        ("1 borings without a datum (B2)",),
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", ODD)
def test_each_oddity_is_warned_of(case: str, tmp_path: Path) -> None:
    files, words = ODD[case]
    if case == "piezometer without layers":
        files["water.csv"] = WATER + "P1,2024-03-01,2.5,sand,\n"
    if case == "ground off the site's":
        files["layers.csv"] = LAYERS + "B3,0,4,sand\n"

    def ground(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.full(len(x), 5.0)

    logs, faults = read(tmp_path, files, area=AREA, ground=ground)
    assert faults.faults == []
    assert len(faults.warnings) == 1
    for word in words:
        assert word in faults.warnings[0]
    assert len(logs.borings) == (
        3 if case in ("piezometer without layers", "ground off the site's") else 2
    )
    if case == "dry":
        assert len(logs.readings) == 1


def test_a_log_that_stops_short_ends_where_it_stops(tmp_path: Path) -> None:
    logs, _ = read(tmp_path, collars("5.5,8", "5.5,9"))
    assert logs.borings[1].final == -2.5


@pytest.mark.slow
def test_a_million_layers_take_seconds(tmp_path: Path) -> None:
    holes, count = 50_000, 20
    head = "id,x,y,ground,final_depth\n"
    places = (f"H{i},{10 * (i % 250)},{10 * (i // 250)},5,20\n" for i in range(holes))
    rows = (
        f"H{i},{k},{k + 1},{SOILS[k % 3]}\n" for i in range(holes) for k in range(count)
    )  # fmt: skip
    files: dict[str, str | bytes] = {
        "c.csv": head + "".join(places),
        "l.csv": "id,top_depth,bottom_depth,soil\n" + "".join(rows),
    }
    logs, faults = read(tmp_path, files)
    assert faults.faults == []
    assert sum(len(boring.intervals) for boring in logs.borings) == holes * count
