"""The page behind every report, of a run or of a study: one HTML file that needs nothing else.

A :class:`Page` says what there is to show; what is left out does not appear. Templates, styles and
scripts lie in ``templates/``.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from wellring.inputs.basics.shown_text import shown_text
from wellring.postprocess.figures.style import plain
from wellring.postprocess.report.report_sections import Subject
from wellring.postprocess.report.report_tables import PageTable, plain_table
from wellring.postprocess.report_headlines import Headline
from wellring.postprocess.run.summary import CAUTION

REPORT_FILE = "report.html"
TEMPLATES = Path(__file__).parent / "templates"
SCRIPTS = (
    "data.js", "plan.js", "plans.js", "section.js", "curves.js", "spans.js", "tables.js", "page.js",
)  # fmt: skip


@dataclass
class Page:
    """What a report says and shows, in the order in which it is read.

    Parameters
    ----------
    kind : what it is, under the title ("report of a run").
    about : what it is about beside the site, as (word, text): ("Scheme", "ring of deep wells").
    verdict : whether all limits hold, None where there is none to judge; `told` says it in words.
    lead : sections that come before plan and section, `subjects` those after.
    charts : the sections' drawings, from `Sections`.
    stages : (folder, name) of each stage of the plan.
    plans : from `plan_data`; several stand side by side.
    section : from :func:`wellring.postprocess.report.report_section.section_data`.
    system : units of the sentences shown, "metric" or "us"; they are worded in SI.
    inputs : SHA-256 by file, `sha256` over all of them.
    """

    kind: str
    site: str
    told: str
    verdict: bool | None = None
    about: list[tuple[str, str]] = field(default_factory=list)
    invented: bool = False
    notes: str = ""
    headlines: list[Headline] = field(default_factory=list)
    warnings: Sequence[str] = ()
    lead: list[Subject] = field(default_factory=list)
    charts: dict[str, dict[str, Any]] = field(default_factory=dict)
    stages: list[tuple[str, str]] = field(default_factory=list)
    plans: list[dict[str, Any]] = field(default_factory=list)
    section: dict[str, Any] | None = None
    subjects: list[Subject] = field(default_factory=list)
    method: list[str] = field(default_factory=list)
    checks: PageTable | None = None
    assumptions: Sequence[str] = ()
    inputs: dict[str, str] = field(default_factory=dict)
    sha256: str = ""
    made_with: str = ""
    cautions: list[str] = field(default_factory=list)
    system: str = "metric"

    def html(self) -> str:
        """The page as text."""
        import jinja2

        environment = jinja2.Environment(
            loader=jinja2.FileSystemLoader(TEMPLATES),
            autoescape=True,
            trim_blocks=True,
            lstrip_blocks=True,
            undefined=jinja2.StrictUndefined,
        )
        environment.filters["shown"] = lambda text: shown_text(text, self.system)
        about = [(word, plain(text, 90)) for word, text in self.about]
        return environment.get_template("report.html").render(
            page=self,
            title=plain(" — ".join([self.site, *(text for _, text in self.about)]), 120),
            site=plain(self.site, 90),
            about=about,
            notes=plain(self.notes, 400),
            warnings=[plain(text, 600) for text in self.warnings],
            assumptions=[plain(text, 700) for text in self.assumptions],
            inputs=plain_table("inputs", ["File", "SHA-256"], sorted(self.inputs.items())),
            cautions=[*self.cautions, CAUTION],
            style=(TEMPLATES / "report.css").read_text("utf-8"),
            script="\n".join((TEMPLATES / name).read_text("utf-8") for name in SCRIPTS),
            data=safe_json(
                {
                    "stages": [{"folder": f, "name": plain(name)} for f, name in self.stages],
                    "plans": self.plans,
                    "section": self.section,
                    "charts": self.charts,
                }
            ),
        )

    def write(self, path: Path) -> Path:
        """Write the page; a file of the same name stays whole until the new one is."""
        partial = path.with_name(f"{path.name}.partial")
        partial.write_text(self.html(), encoding="utf-8")
        partial.replace(path)
        return path


def safe_json(content: Any) -> str:
    """JSON that may stand inside a script element: no letter of it can end or open one."""
    text = json.dumps(content, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    for letter in "<>&":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text
