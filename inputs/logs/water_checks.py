"""Checks of water readings: dates, kinds, levels against the boring, and the soil they tell of."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.basics.faults import nearest
from wellring.inputs.logs.log_tables import LISTED, TOLERANCE, Reporter
from wellring.inputs.logs.soil_codes import map_soils

if TYPE_CHECKING:
    import pandas as pd

ARTESIAN = 20.0
"""Water standing higher above the ground is a mistake [m]. Common practice, no source."""
KINDS = ("level", "strike")
_DATE = r"\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:\d{2}(?::\d{2})?)?"


def checked_water(
    water: pd.DataFrame,
    collars: pd.DataFrame,
    layers: pd.DataFrame,
    soils: Collection[str],
    codes: Mapping[str, str],
    reporter: Reporter,
) -> pd.DataFrame:
    """Check the readings and give them as levels.

    Parameters
    ----------
    collars, layers : what :func:`wellring.inputs.logs.collar_checks.checked_collars` and
        :func:`wellring.inputs.logs.layer_checks.checked_layers` returned.

    Returns
    -------
    DataFrame : `id`, `level` [m], `date` (ISO 8601 or ""), `soil` ("" where unknown) and `kind`,
        ordered by boring (as the collars are), date, kind and level.
    """
    water = water.copy()
    water["date"] = _dates(water, reporter)
    water["kind"] = _kinds(water, reporter)
    given = water["soil"] != ""
    water.loc[given, "soil"] = map_soils(water[given], ("soil",), soils, codes, reporter)
    keys = ["id", "date", "level", "kind", "soil", "depth", "zone_top", "zone_bottom"]
    same = water.duplicated(keys) & water["ok"]
    again = water[same]
    reporter.report(
        again, "id", again["id"], "each reading once; an earlier row is the same", "Delete the row"
    )
    place = collars[collars["ok"]].set_index("id")
    water["ground"] = water["id"].map(place["ground"])
    water = water[~same & water["ok"] & water["ground"].notna()]
    # Against a collar or log with a fault of its own a reading would look wrong too.
    water = water[~water["id"].isin(reporter.faulty)].copy()
    level = water["level"].where(~water["depth"], water["ground"] - water["level"])
    water["level"] = level.round(6)
    logged = layers.groupby("id")["bottom"].min()
    water["end"] = water["id"].map(place["final"]).fillna(water["id"].map(logged))
    _check_levels(water, reporter)
    water["soil"] = _screened(water, layers, reporter)
    order = {name: index for index, name in enumerate(place.index)}
    water["order"] = water["id"].map(order)
    return water.sort_values(["order", "date", "kind", "level"], kind="stable")


def _dates(water: pd.DataFrame, reporter: Reporter) -> pd.Series:
    """Dates in one spelling; what is not a date is reported and becomes ""."""
    import pandas as pd

    text = water["date"]
    blank = text == ""
    shaped = text.str.fullmatch(_DATE).astype(bool)
    moment = pd.to_datetime(text.where(shaped), format="ISO8601", errors="coerce")
    good = moment.notna() & (moment.dt.year >= 1900) & (moment.dt.year <= 2100)
    bad = ~good & ~blank
    rows = water[bad]
    expected = "a date between 1900 and 2100 as YYYY-MM-DD or YYYY-MM-DDThh:mm"
    remedy = "Write the year first, such as 2024-03-01"
    reporter.report(rows, "date", rows["date"], expected, remedy)
    if blank.any():
        row = water[blank].iloc[0]
        first = reporter.where(row["source"], row["row"])
        reporter.faults.warn(f"{int(blank.sum())} water readings without a date, from {first} on")
    tidy = text.str.replace(" ", "T").str.replace(r"(T\d{2}:\d{2}):00$", r"\1", regex=True)
    return tidy.str.removesuffix("T00:00").where(good, "")


def _kinds(water: pd.DataFrame, reporter: Reporter) -> pd.Series:
    kind = water["kind"].str.casefold().replace("", "level")
    bad = water[~kind.isin(KINDS)]
    remedies = [nearest(cell, KINDS) for cell in bad["kind"].head(LISTED)]
    reporter.report(bad, "kind", bad["kind"], "level or strike", remedies)
    return kind


def _check_levels(water: pd.DataFrame, reporter: Reporter) -> None:
    """Report water far above the ground or below the boring's end; warn of artesian water."""
    depth = water["depth"]
    advice = np.where(
        depth,
        "If these are levels, name the column level; else check the datum of the collar",
        "If these are depths below ground, name the column depth; else check the datum",
    )
    over = water["level"] - water["ground"]
    high = water[over > ARTESIAN]
    expected = [
        f"a water level at most {ARTESIAN:g} m above the ground of {name} ({ground:.2f} m); "
        f"it would stand at {level:.2f} m"
        for name, ground, level in zip(high["id"], high["ground"], high["level"], strict=True)
    ]
    reporter.report(high, "level", high["level_text"], expected, advice[over > ARTESIAN].tolist())
    deep = water["level"] < water["end"] - TOLERANCE
    rows = water[deep]
    expected = [
        f"a water level above the end of {name} ({end:.2f} m); it would stand at {level:.2f} m"
        for name, end, level in zip(rows["id"], rows["end"], rows["level"], strict=True)
    ]
    reporter.report(rows, "level", rows["level_text"], expected, advice[deep].tolist())
    artesian = water[(over > TOLERANCE) & (over <= ARTESIAN)].drop_duplicates("id")
    for row in artesian.head(LISTED).itertuples():
        reporter.faults.warn(
            f"{reporter.where(row.source, row.row)}: water level {row.level:.2f} m stands "
            f"{row.level - row.ground:.2f} m above the ground at {row.id}: "
            "artesian, or another datum"
        )
    if len(artesian) > LISTED:
        reporter.faults.warn(f"{len(artesian) - LISTED} more borings with water above the ground")


def _screened(water: pd.DataFrame, layers: pd.DataFrame, reporter: Reporter) -> pd.Series:
    """The soil of each reading: as given, else the soil of the boring's log in its zone.

    Of a response zone in several soils no one can say which of them it measures: the soil
    stays unknown, with a warning.
    """
    soil = water["soil"].copy()
    zoned = water[(soil == "") & water["zone_top"].notna() & water["zone_bottom"].notna()]
    logs = dict(iter(layers[layers["id"].isin(zoned["id"])].groupby("id")))
    for (name, top, bottom), rows in zoned.groupby(["id", "zone_top", "zone_bottom"], sort=False):
        log = logs.get(name)
        if log is None:
            continue
        ground = rows["ground"].iloc[0]
        high, low = ground - min(top, bottom), ground - max(top, bottom)
        if high - low < TOLERANCE:
            met = log[(log["top"] >= low) & (log["bottom"] < low)].tail(1)
        else:
            met = log[np.minimum(log["top"], high) - np.maximum(log["bottom"], low) > TOLERANCE]
        if met["soil"].nunique() == 1:
            soil[rows.index] = met["soil"].iloc[0]
        elif len(met):
            first = rows.iloc[0]
            reporter.faults.warn(
                f"{reporter.where(first['source'], first['row'])}: the response zone from depth "
                f"{top:g} to {bottom:g} m of {name} lies in {' and '.join(met['soil'].unique())}; "
                "its readings are not taken as those of one soil"
            )
    return soil
