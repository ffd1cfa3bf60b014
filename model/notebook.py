"""All that a notebook needs, in one place: solve, vary, match, and read what came of it.

    from wellring.model.notebook import match, run, vary

Each verb takes the path of a site file and returns an object: :class:`Run`, :class:`Varied`,
:class:`Matched` and so on. Tables are pandas or geopandas frames in SI with units in their
headings, fields are xarray. Nothing is printed unless `say=print` is given.
"""

from wellring.model.runs.run import Run, report, run
from wellring.model.start_site import start_site
from wellring.model.studies.compare import Compared, compare
from wellring.model.studies.engine import Study, open_study
from wellring.model.studies.match.match import match
from wellring.model.studies.match.matched import Matched
from wellring.model.studies.variants import Variant
from wellring.model.studies.vary.vary import Varied, vary
from wellring.postprocess.fields import open_fields
from wellring.postprocess.notebook import read_table, table_names, wells_frame

__all__ = [
    "Compared",
    "Matched",
    "Run",
    "Study",
    "Variant",
    "Varied",
    "compare",
    "match",
    "open_fields",
    "open_study",
    "read_table",
    "report",
    "run",
    "start_site",
    "table_names",
    "vary",
    "wells_frame",
]
