"""AGS4 files of boring logs to :class:`~wellring.inputs.logs.log_tables.LogTable`.

Read are LOCA (place, ground level, final depth), HDPH (final depth where LOCA_FDEP is blank),
GEOL (layers), WSTG with WSTD (water strikes), and MOND with MONG (readings of water, with the
response zone they are taken from). AGS4: Electronic transfer of geotechnical and
geoenvironmental data, edition 4.1.1, Association of Geotechnical and Geoenvironmental
Specialists; headings and reading types from its data dictionary.

A strike gives one reading of kind "strike" at the depth it was met and one at the level it had
risen to at the last WSTD row. Of monitoring readings WDEP (depth to water) and WHD (head of water
above the tip) are water levels.
"""

from __future__ import annotations

import contextlib
import io
import logging
import re
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.basics.units import to_si
from wellring.inputs.logs.log_tables import LISTED, Kind, LogTable

if TYPE_CHECKING:
    import pandas as pd

_READ = ("LOCA", "HDPH", "GEOL", "WSTG", "WSTD", "MONG", "MOND", "HORN")
#: Parts of an AGS4 date format in the order they are looked for, and what pandas calls them.
_DATE_PARTS = (
    ("yyyy", "%Y"),
    ("hh:mm", "%H:%M"),
    ("ss", "%S"),
    ("mm", "%m"),
    ("dd", "%d"),
)


@dataclass(frozen=True)
class _Group:
    """One AGS group: `rows` hold its DATA rows with `row` and `line`, `units` its UNIT row."""

    name: str
    rows: pd.DataFrame
    units: dict[str, str]

    def has(self, *headings: str) -> bool:
        return all(heading in self.rows for heading in headings)


def is_ags(path: Path, text: str) -> bool:
    """Whether a file is AGS data: by its name, or by the group it starts with."""
    return path.suffix.casefold() == ".ags" or text.lstrip().startswith(('"GROUP"', '"**PROJ'))


def read_ags(text: str, name: str, faults: FaultLog) -> list[LogTable] | None:
    """The tables of one AGS4 file, or None after recording why it cannot be read.

    Parameters
    ----------
    text : the whole file, with "\\n" line ends.
    name : the file as the user named it.
    faults : receives what is wrong with the file as AGS4; its data are checked with those of
        the other files.
    """
    groups = _groups(text, name, faults)
    if groups is None:
        return None
    reader = _Reader(name, groups, faults)
    before = len(faults.faults)
    tables = [*reader.collars(), *reader.layers(), *reader.strikes(), *reader.monitoring()]
    if not tables and len(faults.faults) == before:
        held = ", ".join(sorted(groups)) or "no data"
        expected = "the groups LOCA and GEOL"
        faults.add(name, "groups", held, expected, "Ask for an export with the logs")
    return tables if len(faults.faults) == before else None


def _groups(text: str, name: str, faults: FaultLog) -> dict[str, _Group] | None:
    """The groups of the file that are read here, without those that have no data."""
    if text.lstrip().startswith('"**'):
        remedy = "Export the data as AGS4"
        faults.add(name, "whole file", "AGS3", "AGS4 data", remedy, 1)
        return None
    if not re.search(r'^"GROUP"', text, re.MULTILINE):
        remedy = "Is it a CSV file, or an AGS4 file that lost its quotation marks?"
        faults.add(name, "whole file", None, 'AGS4 data with "GROUP" rows', remedy, 1)
        return None
    try:
        tables = _parsed(text)
    except Exception as error:
        # python-ags4 raises what its parsing happens to meet: its own error, but also IndexError,
        # KeyError, csv.Error and, from pandas, ValueError.
        reason = str(error) if type(error).__name__ == "AGS4Error" else repr(error)
        where = re.search(r"[Ll]ine (\d+)", reason)
        remedy = f"It cannot be read as AGS4: {reason}"
        line = int(where.group(1)) if where else None
        faults.add(name, "rows", None, "well-formed AGS4 groups", remedy, line)
        return None
    groups = {}
    for group, frame in tables.items():
        if group not in _READ or "HEADING" not in frame:
            continue
        rows = frame[frame["HEADING"] == "DATA"].reset_index(drop=True)
        units = frame[frame["HEADING"] == "UNIT"]
        if rows.empty:
            continue
        if units.empty:
            faults.warn(f"{name}: group {group} has no UNIT row; lengths are taken as metres")
        rows = rows.rename(columns={"line_number": "line"})
        rows["row"] = rows.index + 1
        held = {} if units.empty else {str(key): str(units.iloc[0][key]) for key in units}
        groups[group] = _Group(group, rows, held)
    return groups


def _parsed(text: str) -> Mapping[str, pd.DataFrame]:
    """All groups as python-ags4 reads them, without what it logs and prints."""
    from python_ags4 import AGS4

    log = logging.getLogger(AGS4.__name__)
    silenced = log.disabled
    log.disabled = True
    try:
        with (
            warnings.catch_warnings(),
            contextlib.redirect_stdout(io.StringIO()),
            contextlib.redirect_stderr(io.StringIO()),
        ):
            warnings.simplefilter("ignore")
            return AGS4.AGS4_to_dataframe(io.StringIO(text), get_line_numbers=True)[0]
    finally:
        log.disabled = silenced


@dataclass(frozen=True)
class _Reader:
    """Turns the groups of one file into tables; what lacks is recorded."""

    name: str
    groups: Mapping[str, _Group]
    faults: FaultLog

    def collars(self) -> list[LogTable]:
        """LOCA, with the final depth of HDPH where LOCA has none."""
        group = self.groups.get("LOCA")
        if group is None or not self._complete(
            group, ("LOCA_ID", "LOCA_NATE", "LOCA_NATN", "LOCA_GL")
        ):
            return []
        self._check_grid(group)
        rows = group.rows.copy()
        if "LOCA_FDEP" not in rows:
            rows["LOCA_FDEP"] = ""
        depths = self.groups.get("HDPH")
        if depths is not None and depths.has("LOCA_ID", "HDPH_BASE"):
            import pandas as pd

            ratio = self._metres(depths, "HDPH_BASE") / self._metres(group, "LOCA_FDEP")
            base = pd.to_numeric(depths.rows["HDPH_BASE"], errors="coerce") * ratio
            deepest = base.groupby(depths.rows["LOCA_ID"].str.strip()).max().dropna()
            held = rows["LOCA_ID"].str.strip().map(deepest.map("{:.10g}".format)).fillna("")
            rows["LOCA_FDEP"] = rows["LOCA_FDEP"].where(rows["LOCA_FDEP"].str.strip() != "", held)
        columns = {
            "id": "LOCA_ID",
            "x": "LOCA_NATE",
            "y": "LOCA_NATN",
            "ground": "LOCA_GL",
            "final": "LOCA_FDEP",
        }
        optional = {"datum": "LOCA_NATD"}
        return self._table("collars", _Group("LOCA", rows, group.units), columns, optional)

    def layers(self) -> list[LogTable]:
        """GEOL: what a row calls its soil is its geology code, legend code and description."""
        group = self.groups.get("GEOL")
        if group is None:
            return []
        columns = {"id": "LOCA_ID", "top": "GEOL_TOP", "bottom": "GEOL_BASE"}
        optional = {"soil": "GEOL_GEOL", "legend": "GEOL_LEG", "description": "GEOL_DESC"}
        if not any(heading in group.rows for heading in optional.values()):
            columns["soil"] = optional.pop("soil")
        return self._table("layers", group, columns, optional)

    def strikes(self) -> list[LogTable]:
        """WSTG, and the last row of each strike in WSTD."""
        struck = self.groups.get("WSTG")
        if struck is None or not self._complete(struck, ("LOCA_ID", "WSTG_DPTH")):
            return []
        rows = struck.rows.copy()
        rows["kind"] = "strike"
        if struck.has("WSTG_DTIM"):
            rows["WSTG_DTIM"] = _iso_dates(rows["WSTG_DTIM"], struck.units.get("WSTG_DTIM", ""))
        rows["zone"] = rows["WSTG_DPTH"]
        columns = {"id": "LOCA_ID", "level": "WSTG_DPTH"}
        optional = {
            "date": "WSTG_DTIM", "kind": "kind", "zone_top": "zone", "zone_bottom": "zone"
        }  # fmt: skip
        group = _Group("WSTG", rows, struck.units | {"zone": struck.units.get("WSTG_DPTH", "")})
        tables = self._table("water", group, columns, optional)
        risen = self.groups.get("WSTD")
        keys = ["LOCA_ID", "WSTG_DPTH"]
        if risen is None or not tables or not risen.has(*keys, "WSTD_POST"):
            return tables
        import pandas as pd

        rest = risen.rows[risen.rows["WSTD_POST"].str.strip() != ""].copy()
        if risen.has("WSTD_NMIN"):
            rest["minutes"] = pd.to_numeric(rest["WSTD_NMIN"], errors="coerce")
            rest = rest.sort_values("minutes", kind="stable")
        rest = rest.drop_duplicates(keys, keep="last").sort_values("row")
        known = [*keys, *(["WSTG_DTIM"] if struck.has("WSTG_DTIM") else [])]
        rest = rest.merge(rows[known].drop_duplicates(keys), on=keys, how="left")
        rest["kind"], rest["zone"] = "strike", rest["WSTG_DPTH"]
        rest = rest.fillna("")
        columns = {"id": "LOCA_ID", "level": "WSTD_POST"}
        units = risen.units | {"zone": risen.units.get("WSTG_DPTH", "")}
        return tables + self._table("water", _Group("WSTD", rest, units), columns, optional)

    def monitoring(self) -> list[LogTable]:
        """MOND readings of water, each with the response zone of its instrument in MONG."""
        group = self.groups.get("MOND")
        needed = ("LOCA_ID", "MOND_TYPE", "MOND_RDNG", "MOND_DTIM")
        if group is None or not self._complete(group, needed):
            return []
        rows = group.rows.copy()
        for heading in ("MOND_UNIT", "MONG_ID", "MONG_DIS"):
            rows[heading] = rows[heading].str.strip() if heading in rows else ""
        rows["MOND_DTIM"] = _iso_dates(rows["MOND_DTIM"], group.units.get("MOND_DTIM", ""))
        rows = self._with_zones(rows)
        kinds = rows["MOND_TYPE"].str.strip().str.upper()
        others = sorted(set(kinds[~kinds.isin(("WDEP", "WHD"))]))
        if others:
            self.faults.warn(
                f"{self.name}: MOND readings of type {', '.join(others)} are no water levels "
                "(WDEP, WHD) and are left out"
            )
        tables = []
        optional = {"date": "MOND_DTIM", "zone_top": "MONG_TRZ", "zone_bottom": "MONG_BRZ"}
        columns = {"id": "LOCA_ID", "level": "MOND_RDNG"}
        zones = self.groups.get("MONG")
        for (kind, unit), part in rows.groupby([kinds, rows["MOND_UNIT"]], sort=False):
            if kind in others:
                continue
            units = dict(zones.units) if zones else {}
            units |= {"MOND_RDNG": unit, "MONG_DIS": group.units.get("MONG_DIS", "")}
            readings = _Group("MOND", part.copy(), units)
            if kind == "WHD":
                self._heads_to_depths(readings)
            tables += self._table("water", readings, columns, optional)
        return tables

    def _with_zones(self, rows: pd.DataFrame) -> pd.DataFrame:
        """`rows` with MONG_TRZ and MONG_BRZ of their instruments, "" where there are none."""
        zones = self.groups.get("MONG")
        keys = ["LOCA_ID", "MONG_ID", "MONG_DIS"]
        if zones is None or not zones.has(*keys, "MONG_TRZ", "MONG_BRZ"):
            return rows
        of = zones.rows[[*keys, "MONG_TRZ", "MONG_BRZ"]].apply(lambda column: column.str.strip())
        rows["LOCA_ID"] = rows["LOCA_ID"].str.strip()
        joined = rows.drop(columns=["MONG_TRZ", "MONG_BRZ"], errors="ignore").merge(
            of.drop_duplicates(keys), on=keys, how="left"
        )
        return joined.fillna({"MONG_TRZ": "", "MONG_BRZ": ""})

    def _heads_to_depths(self, group: _Group) -> None:
        """Heads above the tip (WHD) as depths below the datum, in the reading's own unit."""
        import pandas as pd

        rows = group.rows
        ratio = self._metres(group, "MONG_DIS") / self._metres(group, "MOND_RDNG")
        tip = pd.to_numeric(rows["MONG_DIS"], errors="coerce") * ratio
        head = pd.to_numeric(rows["MOND_RDNG"], errors="coerce")
        depth = (tip - head).map("{:.10g}".format)
        rows["MOND_RDNG"] = rows["MOND_RDNG"].where(head.isna(), depth)
        for index in rows.index[tip.isna()][:LISTED]:
            row, line = rows.loc[index, ["row", "line"]]
            place = f"MOND row {row}, column MONG_DIS"
            expected = "the depth of the tip, beside a head of water above it (WHD)"
            self.faults.add(self.name, place, None, expected, "Fill it in", int(line))

    def _check_grid(self, group: _Group) -> None:
        """Report a second national grid among the places, and inclined holes."""
        if group.has("LOCA_GREF"):
            grid = group.rows["LOCA_GREF"].str.strip()
            grid = grid[grid != ""]
            main = "".join(grid.mode()[:1])
            for index in grid.index[grid != main][:LISTED]:
                row, line = group.rows.loc[index, ["row", "line"]]
                place = f"LOCA row {row}, column LOCA_GREF"
                expected = f"one grid for all places, as '{main}' of most"
                remedy = "Convert all places to one coordinate reference system"
                self.faults.add(self.name, place, grid[index], expected, remedy, int(line))
        slanted = self.groups.get("HORN")
        if slanted is not None and slanted.has("LOCA_ID", "HORN_INCL"):
            import pandas as pd

            dip = pd.to_numeric(slanted.rows["HORN_INCL"], errors="coerce")
            for hole in slanted.rows["LOCA_ID"][(dip - 90).abs() > 1].unique():
                self.faults.warn(
                    f"{self.name}: {hole} is inclined (HORN_INCL); its depths are taken as vertical"
                )

    def _complete(self, group: _Group, headings: tuple[str, ...]) -> bool:
        """Whether `group` has `headings`; those that lack are recorded."""
        lacking = [heading for heading in headings if heading not in group.rows]
        held = ", ".join(str(key) for key in group.units if key not in ("HEADING", "line_number"))
        for heading in lacking:
            expected = f"the heading {heading} in group {group.name}"
            self.faults.add(self.name, f"group {group.name}", held, expected, "Export it too")
        return not lacking

    def _table(
        self, kind: Kind, group: _Group, columns: dict[str, str], optional: dict[str, str]
    ) -> list[LogTable]:
        """One table of `group`; none where a heading of `columns` lacks or has a strange unit."""
        if not self._complete(group, tuple(columns.values())):
            return []
        used = columns | {key: heading for key, heading in optional.items() if group.has(heading)}
        frame = group.rows[["row", "line"]].copy()
        for column, heading in used.items():
            frame[column] = group.rows[heading]
        lengths = ("x", "y", "ground", "final", "top", "bottom", "level", "zone_top", "zone_bottom")
        before = len(self.faults.faults)
        metres = {key: self._metres(group, used[key]) for key in lengths if key in used}
        if len(self.faults.faults) > before:
            return []
        return [LogTable(kind, self.name, frame, used, metres, True, group.name)]

    def _metres(self, group: _Group, heading: str) -> float:
        """Metres per unit of `heading`, 1 where its UNIT is blank; a strange unit is recorded."""
        unit = group.units.get(heading, "").strip()
        if not unit:
            return 1.0
        try:
            return to_si(f"1 {unit}", "m")
        except ValueError:
            place = f"{group.name} unit of {heading}"
            self.faults.add(self.name, place, unit, "a unit of length, such as m or ft")
            return 1.0


def _iso_dates(text: pd.Series, unit: str) -> pd.Series:
    """Dates in the format `unit` of an AGS4 UNIT row, such as dd/mm/yyyy, in ISO 8601.

    What does not fit the format is left as it is, to be checked as a date like any other.
    """
    import pandas as pd

    if not unit or unit.startswith("yyyy-mm-dd"):
        return text.str.strip()
    pattern = unit
    for part, code in _DATE_PARTS:
        pattern = pattern.replace(part, code)
    try:
        moment = pd.to_datetime(text.str.strip(), format=pattern, errors="coerce")
    except (ValueError, re.error):
        return text  # no date format: a part stands in it twice, or "%" does
    shape = "%Y-%m-%dT%H:%M:%S" if "%S" in pattern else "%Y-%m-%dT%H:%M"
    iso = moment.dt.strftime(shape if "%H" in pattern else "%Y-%m-%d")
    return iso.where(moment.notna(), text)
