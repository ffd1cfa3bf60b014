"""Checks of the collars of borings: identity, place in plan, ground level and datum."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import Polygon

from wellring.inputs.logs.log_tables import TOLERANCE, Reporter

if TYPE_CHECKING:
    import pandas as pd

SAME_PLACE = 0.1
"""Two borings nearer than this stand at the same place [m]. Common practice, no source."""
FAR_OFF = 50e3
"""A boring farther than this from the site is a mistake [m]. Common practice, no source."""
GROUND_DOUBT, GROUND_WRONG = 3.0, 30.0
"""Difference of ground levels that is doubtful, and wrong [m]. Common practice, no source."""
_FOOT = 0.3048

Ground = Callable[[np.ndarray, np.ndarray], np.ndarray]


def checked_collars(
    collars: pd.DataFrame, reporter: Reporter, area: Polygon | None, ground: Ground | None
) -> pd.DataFrame:
    """Check the collars against one another and against the site.

    Parameters
    ----------
    collars : rows of :func:`wellring.inputs.logs.log_tables.typed`.
    area, ground : as for :func:`wellring.inputs.logs.read_borings.read_borings`.

    Returns
    -------
    DataFrame : one row for each id, with `final` as a level [m] (NaN where unknown). Where `ok`
        is False the numbers could not be read.
    """
    collars = _each_once(collars, reporter)
    final = np.where(collars["depth"], collars["ground"] - collars["final"], collars["final"])
    collars["final"] = np.round(final, 6)
    above = collars[collars["ok"] & (collars["final"] > collars["ground"] + TOLERANCE)]
    remedy = "Name the column final_depth if it is a depth below ground, final_level if a level"
    expected = [f"the boring's end below its ground level {g:.2f} m" for g in above["ground"]]
    reporter.report(above, "final", above["final_text"], expected, remedy)
    collars.loc[above.index, "final"] = np.nan
    known = collars[collars["ok"]]
    _check_same_place(known, reporter)
    _check_datum(collars, reporter)
    if area is not None and not known.empty:
        _check_area(known, reporter, area)
    if ground is not None and not known.empty:
        _check_ground(known, reporter, ground)
    return collars


def _each_once(collars: pd.DataFrame, reporter: Reporter) -> pd.DataFrame:
    """The first row of each id; the others are reported."""
    first = collars.drop_duplicates("id").set_index("id")
    again = collars[collars.duplicated("id")]
    same = collars.duplicated(["id", "x", "y", "ground", "final"])[again.index]
    earlier = first.loc[again["id"]]
    where = [reporter.where(s, r) for s, r in zip(earlier["source"], earlier["row"], strict=True)]
    expected = [f"each boring once; {place} has it too" for place in where]
    remedies = [
        "The rows are the same; delete one" if equal else "Give one of them another id"
        for equal in same
    ]
    reporter.report(again, "id", again["id"], expected, remedies)
    return collars.drop_duplicates("id").reset_index(drop=True)


def _check_same_place(collars: pd.DataFrame, reporter: Reporter) -> None:
    if len(collars) < 2:
        return
    from scipy.spatial import cKDTree

    points = collars[["x", "y"]].to_numpy()
    # The nearest other boring is enough to name, and is safe where many share one place.
    distance, other = cKDTree(points).query(points, k=2)
    at = np.arange(len(points))
    column = np.where(other[:, 0] == at, 1, 0)
    near, partner = distance[at, column], other[at, column]
    close = (near < SAME_PLACE) & (partner < at)
    rows, partners = collars[close], collars.iloc[partner[close]]
    expected = [
        f"a place of its own; {name} stands {gap:.2f} m away"
        for name, gap in zip(partners["id"], near[close], strict=True)
    ]
    values = [f"{x}, {y}" for x, y in zip(rows["x_text"], rows["y_text"], strict=True)]
    remedy = "Correct the coordinates, or join the two logs into one boring"
    reporter.report(rows, "x", values, expected, remedy)


def _check_datum(collars: pd.DataFrame, reporter: Reporter) -> None:
    stated = collars[collars["datum"] != ""]
    if stated.empty:
        return
    kinds = stated["datum"].str.casefold()
    counts = kinds.value_counts()
    if len(counts) > 1:
        others = stated[kinds != counts.index[0]]
        main = stated["datum"][kinds == counts.index[0]].iloc[0]
        expected = f"one datum for all levels, as '{main}' of most borings (mixed datums)"
        remedy = "Convert all levels to one datum"
        reporter.report(others, "datum", others["datum"], expected, remedy)
    if len(stated) < len(collars):
        without = ", ".join(collars["id"][collars["datum"] == ""].head(5))
        reporter.faults.warn(
            f"{len(collars) - len(stated)} borings without a datum ({without}) are taken to have "
            "the datum of the others"
        )


def _check_area(collars: pd.DataFrame, reporter: Reporter, area: Polygon) -> None:
    x, y = collars["x"].to_numpy(), collars["y"].to_numpy()
    distance = shapely.distance(area, shapely.points(x, y))
    west, south, east, north = area.bounds
    size = float(np.hypot(east - west, north - south))

    def lands(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Whether points that are far off come to lie at the site when changed like this."""
        return (shapely.distance(area, shapely.points(x, y)) <= size) & (distance > 10 * size)

    swapped = lands(y, x)
    in_feet = ~swapped & lands(x * _FOOT, y * _FOOT)
    wrong = swapped | in_feet | (distance > FAR_OFF)
    rows = collars[wrong]
    remedies = np.select(
        [swapped[wrong], in_feet[wrong]],
        ["x and y swapped?", "In feet? Then name the columns 'x [ft]' and 'y [ft]'"],
        "Check the coordinates and their reference system",
    )
    expected = [f"a place at the site; it is {d / 1e3:.1f} km away" for d in distance[wrong]]
    values = [f"{a}, {b}" for a, b in zip(rows["x_text"], rows["y_text"], strict=True)]
    reporter.report(rows, "x", values, expected, remedies.tolist())
    outside = collars[~wrong & (distance > 0)]
    if len(outside):
        far = distance[~wrong & (distance > 0)]
        named = ", ".join(
            f"{name} by {d:.0f} m" for name, d in zip(outside["id"].head(5), far, strict=False)
        )
        more = f" and {len(outside) - 5} more" if len(outside) > 5 else ""
        first = reporter.where(outside["source"].iloc[0], outside["row"].iloc[0])
        reporter.faults.warn(f"borings outside the site's area: {named}{more} (from {first} on)")


def _check_ground(collars: pd.DataFrame, reporter: Reporter, ground: Ground) -> None:
    surface = np.asarray(ground(collars["x"].to_numpy(), collars["y"].to_numpy()), dtype=float)
    collar = collars["ground"].to_numpy()
    difference = np.abs(collar - surface)
    wrong = difference > GROUND_WRONG
    rows = collars[wrong]
    feet = np.abs(collar[wrong] * _FOOT - surface[wrong]) <= GROUND_DOUBT
    remedies = [
        "In feet? Then name the column 'ground [ft]'" if foot else "Another datum, or a wrong cell?"
        for foot in feet
    ]
    expected = [
        f"a level near the site's ground, {z:.2f} m there (mixed datums)" for z in surface[wrong]
    ]
    reporter.report(rows, "ground", rows["ground_text"], expected, remedies)
    doubtful = (difference > GROUND_DOUBT) & ~wrong
    for index in np.flatnonzero(doubtful)[:5]:
        row = collars.iloc[index]
        reporter.faults.warn(
            f"{reporter.where(row['source'], row['row'])}: ground level of {row['id']} is "
            f"{row['ground']:.2f} m, but the site's ground is {surface[index]:.2f} m there; "
            "check the datum"
        )
    if doubtful.sum() > 5:
        reporter.faults.warn(
            f"{int(doubtful.sum()) - 5} more borings whose ground level differs from the site's "
            f"by more than {GROUND_DOUBT:g} m"
        )
