"""The base of all tables of a site file, the plain types they share, and what misfits say.

A validator that finds something wrong raises :class:`Misfit`: what would have been accepted, what
to do about it, and which key of the table it is about.
:mod:`wellring.inputs.basics.explain` turns it into a fault with its place and line.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any, TypeAlias

from pydantic import BaseModel, BeforeValidator, ConfigDict


class Misfit(ValueError):
    """A value that does not fit.

    Parameters
    ----------
    expected : what would have been accepted.
    remedy : what to do about it.
    key : key of the table the validator looked at, where it looked at a whole table.
    value : what stands there, if it is another value than the one validated.
    """

    def __init__(self, expected: str, remedy: str = "", key: str = "", value: Any = None):
        self.expected, self.remedy, self.key, self.value = expected, remedy, key, value
        super().__init__(expected)


class Table(BaseModel):
    """Base of all tables: immutable, unknown keys refused, no NaN or infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    def require_one(self, *keys: str) -> None:
        """Raise :class:`Misfit` unless exactly one of `keys` is given."""
        given = [key for key in keys if getattr(self, key) is not None]
        if len(given) != 1:
            choice = f"{', '.join(keys[:-1])} or {keys[-1]}"
            remedy = f"Here {' and '.join(given)} are" if given else "Here none is"
            raise Misfit(f"exactly one of {choice}", f"{remedy} given.")


def _text(longest: int = 10_000, shortest: int = 0) -> BeforeValidator:
    def read(value: Any) -> str:
        if not isinstance(value, str):
            raise Misfit("text in quotes")
        if not shortest <= len(value.strip()) <= longest:
            raise Misfit(f"text of {shortest} to {longest} characters")
        return value

    return BeforeValidator(read)


def _flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise Misfit("true or false, without quotes")
    return value


def _texts(value: Any) -> Any:
    if not isinstance(value, list | tuple) or not all(isinstance(item, str) for item in value):
        raise Misfit('a list of texts such as ["one", "two"]')
    return value


def _files(value: Any) -> Any:
    if not isinstance(value, list | tuple) or not value:
        raise Misfit('a list of files such as ["collars.csv", "layers.csv"] or ["site.ags"]')
    return _texts(value)


def _text_by_text(value: Any) -> Any:
    if not isinstance(value, Mapping):
        raise Misfit('a table of texts such as { SA = "sand" }')
    for key, item in value.items():
        if not isinstance(item, str):
            raise Misfit("text in quotes", key=str(key), value=item)
    return value


def _point(value: Any) -> tuple[float, float]:
    numbers = list(value) if isinstance(value, list | tuple) else []
    plain = [isinstance(n, int | float) and not isinstance(n, bool) for n in numbers]
    if len(numbers) != 2 or not all(plain):
        raise Misfit("a point [x, y] of two plain numbers in the site's coordinates")
    x, y = (float(n) if abs(n) < 1e300 else math.inf for n in numbers)
    if not (math.isfinite(x) and math.isfinite(y)):
        raise Misfit("a point [x, y] of two finite numbers in the site's coordinates")
    return x, y


def _shape(example: str, drawn: str, fewest: int) -> BeforeValidator:
    """A file's name, or corners written out."""
    expected = f'{drawn}: a file such as "{example}", or points [[x, y], [x, y], …]'

    def read(value: Any) -> Any:
        if isinstance(value, str) and value.strip():
            return value
        if not isinstance(value, list | tuple) or len(value) < fewest:
            few = isinstance(value, list | tuple)
            raise Misfit(expected, f"It needs at least {fewest} points." if few else "")
        return _points_of(value, expected)

    return BeforeValidator(read)


def _points_of(value: Any, expected: str) -> list[tuple[float, float]]:
    points = []
    for number, item in enumerate(value, start=1):
        try:
            points.append(_point(item))
        except Misfit as misfit:
            raise Misfit(
                expected, f"Point {number} is {item!r}; write {misfit.expected}."
            ) from None
    return points


def _corners(value: Any) -> Any:
    expected = "the pit's corners in order, [[x, y], [x, y], [x, y], …]"
    if not isinstance(value, list | tuple) or len(value) < 3:
        raise Misfit(expected, "It needs at least 3 points.")
    return _points_of(value, expected)


if TYPE_CHECKING:
    Text: TypeAlias = str
    Name: TypeAlias = str
    Flag: TypeAlias = bool
    Texts: TypeAlias = tuple[str, ...]
    Files: TypeAlias = tuple[str, ...]
    TextByText: TypeAlias = dict[str, str]
    Point: TypeAlias = tuple[float, float]
    Corners: TypeAlias = tuple[Point, ...]
    Line: TypeAlias = str | tuple[Point, ...]
    Polygon: TypeAlias = str | tuple[Point, ...]
    Points: TypeAlias = str | tuple[Point, ...]
else:
    Text = Annotated[str, _text()]
    Name = Annotated[str, _text(80, 1)]
    Flag = Annotated[bool, BeforeValidator(_flag)]
    Texts = Annotated[tuple[str, ...], BeforeValidator(_texts)]
    Files = Annotated[tuple[str, ...], BeforeValidator(_files)]
    TextByText = Annotated[dict[str, str], BeforeValidator(_text_by_text)]
    Point = Annotated[tuple[float, float], BeforeValidator(_point)]
    _Plain = tuple[tuple[float, float], ...]
    Corners = Annotated[_Plain, BeforeValidator(_corners)]
    Line = Annotated[str | _Plain, _shape("line.geojson", "a line", 2)]
    Polygon = Annotated[str | _Plain, _shape("area.geojson", "a polygon", 3)]
    Points = Annotated[str | _Plain, _shape("wells.csv", "points", 1)]
