"""Boring logs from AGS4 files, written by python-ags4 or by hand."""

from __future__ import annotations

import csv
import io
import warnings
from pathlib import Path

import pytest

from wellring.inputs.basics.faults import Fault, FaultLog
from wellring.inputs.logs.borings import BoringLogs, WaterReading
from wellring.inputs.logs.read_borings import read_borings
from wellring.inputs.site.site import Borings

SOILS = ("fill", "sand", "clay")
CODES = {"MG": "fill", "101": "sand", "Stiff grey CLAY": "clay"}
Rows = list[list[str]]

#: Group → heading, unit and data rows.
SITE: dict[str, Rows] = {
    "PROJ": [["PROJ_ID"], [""], ["invented"]],
    "LOCA": [
        ["LOCA_ID", "LOCA_NATE", "LOCA_NATN", "LOCA_GREF", "LOCA_GL", "LOCA_FDEP", "LOCA_NATD"],
        ["", "m", "m", "", "m", "m", ""],
        ["B1", "100.00", "200.00", "GRID", "5.00", "10.00", "Old mark"],
        ["B2", "130.00", "210.00", "GRID", "5.50", "", "Old mark"],
    ],
    "HDPH": [
        ["LOCA_ID", "HDPH_TOP", "HDPH_BASE"],
        ["", "ft", "ft"],
        ["B2", "0.00", "6.00"],
        ["B2", "6.00", "26.24671916"],
    ],
    "GEOL": [
        ["LOCA_ID", "GEOL_TOP", "GEOL_BASE", "GEOL_DESC", "GEOL_LEG", "GEOL_GEOL"],
        ["", "m", "m", "", "", ""],
        ["B1", "0.00", "2.00", "Brick, ash", "999", "MG"],
        ["B1", "2.00", "6.00", "Medium dense SAND", "101", "XX"],
        ["B1", "6.00", "10.00", "Stiff  grey CLAY", "", ""],
        ["B2", "0.00", "3.00", "Medium dense SAND", "", "sand"],
        ["B2", "3.00", "8.00", "Firm clay", "", "clay"],
    ],
    "WSTG": [
        ["LOCA_ID", "WSTG_DPTH", "WSTG_DTIM"],
        ["", "m", "dd/mm/yyyy hh:mm"],
        ["B1", "3.00", "01/03/2024 10:30"],
    ],
    "WSTD": [
        ["LOCA_ID", "WSTG_DPTH", "WSTD_NMIN", "WSTD_POST"],
        ["", "m", "min", "m"],
        ["B1", "3.00", "20", "2.50"],
        ["B1", "3.00", "5", "2.80"],
    ],
    "MONG": [
        ["LOCA_ID", "MONG_ID", "MONG_DIS", "MONG_TRZ", "MONG_BRZ"],
        ["", "", "m", "m", "m"],
        ["B1", "P1", "5.00", "3.00", "5.50"],
        ["B2", "P1", "4.00", "1.00", "5.00"],
    ],
    "MOND": [
        ["LOCA_ID", "MONG_ID", "MONG_DIS", "MOND_DTIM", "MOND_TYPE", "MOND_RDNG", "MOND_UNIT"],
        ["", "", "m", "yyyy-mm-ddThh:mm:ss", "", "", ""],
        ["B1", "P1", "5.00", "2024-04-01T08:00:00", "WDEP", "2.60", "m"],
        ["B1", "P1", "5.00", "2024-04-02T08:00:00", "WHD", "2.50", "m"],
        ["B1", "P1", "5.00", "2024-04-03T08:00:00", "WDEP", "8.20209974", "ft"],
        ["B2", "P1", "4.00", "2024-04-01T08:00:00", "WDEP", "3.00", "m"],
        ["B2", "P1", "4.00", "2024-04-02T08:00:00", "WDEP", "Dry", "m"],
        ["B1", "P1", "5.00", "2024-04-01T08:00:00", "BAR", "1013", "mbar"],
    ],
}
#: The same logs as CSV files.
TABLES = {
    "collars.csv": "id,x,y,ground,final_depth,datum\nB1,100,200,5,10,Old mark\n"
    "B2,130,210,5.5,8,Old mark\n",
    "layers.csv": "id,top_level,bottom_level,soil\nB1,5,3,fill\nB1,3,-1,sand\nB1,-1,-5,clay\n"
    "B2,5.5,2.5,sand\nB2,2.5,-2.5,clay\n",
    "water.csv": "id,date,level,soil,kind\nB1,2024-03-01T10:30,2,sand,strike\n"
    "B1,2024-03-01T10:30,2.5,sand,strike\nB1,2024-04-01T08:00,2.4,sand,\n"
    "B1,2024-04-02T08:00,2.5,sand,\nB1,2024-04-03T08:00,2.5,sand,\nB2,2024-04-01T08:00,2.5,,\n",
}


def ags(groups: dict[str, Rows]) -> str:
    """AGS4 text of `groups`, with all data of type X."""
    out = io.StringIO()
    write = csv.writer(out, quoting=csv.QUOTE_ALL).writerow
    for name, (headings, units, *rows) in groups.items():
        write(["GROUP", name])
        write(["HEADING", *headings])
        write(["UNIT", *units])
        write(["TYPE", *("X" for _ in headings)])
        for row in rows:
            write(["DATA", *row])
        out.write("\r\n")
    return out.getvalue()


def site(**changes: Rows | None) -> dict[str, Rows]:
    """The groups of :data:`SITE` with some replaced, or left out where None."""
    return {name: rows for name, rows in (SITE | changes).items() if rows is not None}


def cell(group: str, row: int, heading: str, value: str) -> dict[str, Rows]:
    """The groups of :data:`SITE` with one cell of data row `row` (0 for the unit) changed."""
    rows = [list(cells) for cells in SITE[group]]
    rows[row + 1][rows[0].index(heading)] = value
    return site(**{group: rows})


def without(group: str, heading: str) -> dict[str, Rows]:
    """The groups of :data:`SITE` with one column left out."""
    at = SITE[group][0].index(heading)
    return site(**{group: [cells[:at] + cells[at + 1 :] for cells in SITE[group]]})


def read(folder: Path, text: str | bytes, name: str = "site.ags") -> tuple[BoringLogs, FaultLog]:
    (folder / name).write_bytes(text.encode() if isinstance(text, str) else text)
    faults = FaultLog()
    table = Borings(files=(name,), codes=CODES)
    return read_borings(table, folder, SOILS, faults), faults


def only(faults: FaultLog) -> Fault:
    assert len(faults.faults) == 1, "\n".join(map(str, faults.faults))
    return faults.faults[0]


def test_the_same_logs_as_csv_and_as_ags4_are_equal(tmp_path: Path) -> None:
    logs, faults = read(tmp_path, ags(SITE))
    assert faults.faults == []
    for name, text in TABLES.items():
        (tmp_path / name).write_text(text)
    of_csv = FaultLog()
    assert logs == read_borings(Borings(files=tuple(TABLES)), tmp_path, SOILS, of_csv)
    assert of_csv.faults == []
    assert logs.borings[0].intervals[2].soil == "clay"
    assert len(logs.readings) == 6


def test_what_is_left_out_is_said(tmp_path: Path) -> None:
    warned = read(tmp_path, ags(SITE))[1].warnings
    assert len(warned) == 3
    for words in (
        ("site.ags", "type BAR", "left out"),
        ("site.ags", "1 dry readings", "MOND row 5"),
        ("MOND row 4 of site.ags", "depth 1 to 5 m of B2", "sand and clay"),
    ):
        assert any(all(word in text for word in words) for text in warned)


def test_a_file_written_by_python_ags4_is_read(tmp_path: Path) -> None:
    from pandas import DataFrame
    from python_ags4 import AGS4

    tables, headings = {}, {}
    for name in ("LOCA", "HDPH", "GEOL", "WSTG", "WSTD", "MONG", "MOND"):
        columns, units, *rows = SITE[name]
        kinds = ["X" for _ in columns]
        cells = [["UNIT", *units], ["TYPE", *kinds], *(["DATA", *row] for row in rows)]
        headings[name] = ["HEADING", *columns]
        tables[name] = DataFrame(cells, columns=headings[name])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        AGS4.dataframe_to_AGS4(tables, headings, str(tmp_path / "written.ags"))
    faults = FaultLog()
    logs = read_borings(Borings(files=("written.ags",), codes=CODES), tmp_path, SOILS, faults)
    assert faults.faults == []
    assert logs == read(tmp_path, ags(SITE))[0]


def test_ags_is_known_by_its_first_group_too(tmp_path: Path) -> None:
    logs, faults = read(tmp_path, "\ufeff" + ags(SITE), "logs.txt")
    assert faults.faults == []
    assert len(logs.borings) == 2


def test_lengths_in_feet_are_converted(tmp_path: Path) -> None:
    rows = [list(cells) for cells in SITE["GEOL"]]
    rows[1][1:3] = ["ft", "ft"]
    for cells in rows[2:]:
        cells[1:3] = [f"{float(depth) / 0.3048:.4f}" for depth in cells[1:3]]
    logs, faults = read(tmp_path, ags(site(GEOL=rows)))
    assert faults.faults == []
    met, expected = logs.borings[0].intervals, read(tmp_path, ags(SITE))[0].borings[0].intervals
    assert [i.soil for i in met] == [i.soil for i in expected]
    assert [i.bottom for i in met] == pytest.approx([i.bottom for i in expected], abs=1e-4)


def test_holes_without_layers_are_no_fault(tmp_path: Path) -> None:
    more = [*SITE["LOCA"], ["CPT1", "160.00", "210.00", "GRID", "5.50", "", "Old mark"]]
    logs, faults = read(tmp_path, ags(site(LOCA=more)))
    assert faults.faults == []
    assert "boring CPT1 has no layers; it tells nothing of the strata" in faults.warnings
    assert [boring.id for boring in logs.borings] == ["B1", "B2"]


def test_inclined_holes_are_warned_of(tmp_path: Path) -> None:
    slant = [["LOCA_ID", "HORN_TOP", "HORN_BASE", "HORN_INCL"], ["", "m", "m", "deg"]]
    slant += [["B1", "0.00", "10.00", "90"], ["B2", "0.00", "8.00", "70"]]
    _, faults = read(tmp_path, ags(site(HORN=slant)))
    assert faults.faults == []
    assert [text for text in faults.warnings if "inclined" in text] == [
        "site.ags: B2 is inclined (HORN_INCL); its depths are taken as vertical"
    ]


def test_a_missing_unit_row_is_warned_of(tmp_path: Path) -> None:
    lines = ags(SITE).splitlines(keepends=True)
    unit = lines.index('"GROUP","GEOL"\r\n') + 2
    assert lines.pop(unit).startswith('"UNIT"')
    logs, faults = read(tmp_path, "".join(lines))
    assert faults.faults == []
    assert any("group GEOL has no UNIT row" in text for text in faults.warnings)
    assert len(logs.borings[0].intervals) == 3


def test_strikes_without_later_levels(tmp_path: Path) -> None:
    logs, faults = read(tmp_path, ags(site(WSTD=None, MOND=None, MONG=None)))
    assert (faults.faults, faults.warnings) == ([], [])
    assert logs.readings == (WaterReading("B1", 2.0, "2024-03-01T10:30", "sand", "strike"),)


TEXT = ags(SITE)
#: What is wrong → AGS4 text, place, value, words of the message.
FAULTY: dict[str, tuple[str | bytes, str, str, tuple[str, ...]]] = {
    "gap": (
        ags(cell("GEOL", 2, "GEOL_TOP", "2.50")), "GEOL row 2, column GEOL_TOP", "2.50",
        ("2.00, the bottom of the layer above (GEOL row 1)", "a gap of 0.50 m"),
    ),
    "unknown soil": (
        ags(cell("GEOL", 1, "GEOL_GEOL", "MGR")), "GEOL row 1, column GEOL_GEOL", "MGR",
        ("[borings.codes]",),
    ),
    "no number": (
        ags(cell("LOCA", 2, "LOCA_GL", "high")), "LOCA row 2, column LOCA_GL", "high",
        ("a finite number",),
    ),
    "no place": (
        ags(cell("LOCA", 2, "LOCA_NATE", "")), "LOCA row 2, column LOCA_NATE", "", ("blank",),
    ),
    "id twice": (
        ags(site(LOCA=[*SITE["LOCA"], SITE["LOCA"][2]])), "LOCA row 3, column LOCA_ID", "B1",
        ("LOCA row 1 of site.ags",),
    ),
    "deeper than the hole": (
        ags(cell("HDPH", 2, "HDPH_BASE", "20")), "GEOL row 5, column GEOL_BASE", "8.00",
        ("depth 6.10 m",),
    ),
    "mixed datums": (
        ags(cell("LOCA", 2, "LOCA_NATD", "New mark")), "LOCA row 2, column LOCA_NATD", "New mark",
        ("mixed datums",),
    ),
    "mixed grids": (
        ags(cell("LOCA", 2, "LOCA_GREF", "OTHER")), "LOCA row 2, column LOCA_GREF", "OTHER",
        ("one grid for all places, as 'GRID'",),
    ),
    "strange unit": (
        ags(cell("GEOL", 0, "GEOL_TOP", "kg")), "GEOL unit of GEOL_TOP", "kg", ("m or ft",),
    ),
    "strange unit of a reading": (
        ags(cell("MOND", 1, "MOND_UNIT", "kPa")), "MOND unit of MOND_RDNG", "kPa", ("m or ft",),
    ),
    "bad date": (
        ags(cell("MOND", 3, "MOND_DTIM", "2024/03/01")), "MOND row 3, column MOND_DTIM",
        "2024/03/01", ("YYYY-MM-DD",),
    ),
    "strange date format": (
        ags(cell("WSTG", 0, "WSTG_DTIM", "mm/mm/yyyy") | {"WSTD": SITE["HDPH"][:2]}),
        "WSTG row 1, column WSTG_DTIM", "01/03/2024 10:30", ("YYYY-MM-DD",),
    ),
    "reading of no boring": (
        ags(cell("MOND", 4, "LOCA_ID", "B9")), "MOND row 4, column LOCA_ID", "B9",
        ("a boring with a collar",),
    ),
    "head above a tip of unknown depth": (
        ags(cell("MOND", 2, "MONG_DIS", "")), "MOND row 2, column MONG_DIS", "",
        ("depth of the tip",),
    ),
    "water below the hole": (
        ags(cell("MOND", 1, "MOND_RDNG", "12.00")), "MOND row 1, column MOND_RDNG", "12.00",
        ("above the end of B1 (-5.00 m)",),
    ),
    "missing heading": (
        ags(without("LOCA", "LOCA_GL")), "group LOCA",
        "LOCA_ID, LOCA_NATE, LOCA_NATN, LOCA_GREF, LOCA_FDEP, LOCA_NATD", ("LOCA_GL",),
    ),
    "no logs": (ags({"PROJ": SITE["PROJ"]}), "groups", "no data", ("LOCA and GEOL",)),
    "no layers": (
        ags(site(GEOL=None)), "[borings] files", "", ("a file with layers", "LOCA and GEOL"),
    ),
    "AGS3": ('"**PROJ"\r\n"*PROJ_ID"\r\n"1"\r\n', "whole file", "AGS3", ("AGS4",)),
    "no groups": ("id,x,y\r\n", "whole file", "", ('"GROUP" rows',)),
    "empty": ("\r\n", "whole file", "", ("The file is empty",)),
    "short row": (
        TEXT.replace('"B2","3.00","8.00","Firm clay","","clay"', '"B2","3.00","8.00"'), "rows", "",
        ("Line 29", "same number of entries"),
    ),
    "group twice": (TEXT + ags({"LOCA": SITE["LOCA"]}), "rows", "", ("LOCA group duplicated",)),
    "data before headings": (
        TEXT.replace('"HEADING","LOCA_ID","GEOL_TOP"', '"HEADNG","LOCA_ID","GEOL_TOP"'), "rows",
        "", ("well-formed AGS4", "GEOL"),
    ),
    "bare group row": (TEXT.replace('"GROUP","GEOL"', '"GROUP"'), "rows", "", ("well-formed",)),
    "not UTF-8": (
        TEXT.replace("Brick, ash", "Brick \xbd").encode("cp1252"), "byte 34 of the line", "bd",
        ("UTF-8",),
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", FAULTY)
def test_each_fault_names_file_place_and_value(
    case: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    text, place, value, words = FAULTY[case]
    fault = only(read(tmp_path, text)[1])
    assert (fault.file, fault.place, fault.value) == ("site.ags", place, value)
    for word in words:
        assert word in str(fault)
    # What python-ags4 logs or prints does not reach the user.
    assert capfd.readouterr() == ("", "")


def test_the_line_of_the_file_is_given(tmp_path: Path) -> None:
    text = ags(cell("GEOL", 2, "GEOL_TOP", "deep"))
    fault = only(read(tmp_path, text)[1])
    assert fault.line is not None
    assert '"deep"' in text.splitlines()[fault.line - 1]
