"""A run's tables as pandas and geopandas frames, for notebooks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from wellring.inputs.basics.faults import FaultLog, nearest
from wellring.postprocess.gis.gis_layers import wells_by_stage_layer
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.run.tables import TABLES_FOLDER

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pandas import DataFrame


def table_names(run: RunFolder) -> list[str]:
    """Names of the tables a run holds: "inflow", "stages", …"""
    return sorted(path.stem for path in (run.path / TABLES_FOLDER).glob("*.csv"))


def read_table(run: RunFolder, name: str) -> DataFrame:
    """One table of a run as written, SI with the unit in each heading.

    Empty cells are NaN in columns of numbers and empty text elsewhere; names like "NA" stay
    text. The apostrophe that keeps a spreadsheet from running text as a formula is taken off.

    Raises
    ------
    InputFaults : the run has no table of that name.
    """
    import pandas

    if name not in table_names(run):
        faults = FaultLog()
        faults.add(
            run.path / TABLES_FOLDER, "table", name, "the name of a table of this run",
            nearest(name, table_names(run)),
        )  # fmt: skip
        faults.raise_if_any()
    path = run.path / TABLES_FOLDER / f"{name}.csv"
    text = pandas.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8")
    return text.apply(_as_numbers)


def wells_frame(run: RunFolder) -> GeoDataFrame:
    """Wells, one row a well and stage: level in the well [m], flow [m³/s], governing limit.

    Points in the site's crs; `day` is NaN where the stage has none.
    """
    return wells_by_stage_layer(run)


def _as_numbers(column: DataFrame) -> DataFrame:
    """A column of text as numbers where all that is written in it are numbers."""
    import pandas

    filled = column[column != ""]
    numbers = pandas.to_numeric(filled, errors="coerce")
    # A heading with a unit marks a quantity; names may be numbers ("12") and stay text.
    if "[" in str(column.name) and numbers.notna().all():
        return pandas.to_numeric(column.where(column != "", None), errors="coerce")
    return column.str.replace(r"^'(?=[=+\-@\t\r])", "", regex=True)
