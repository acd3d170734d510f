"""report.html of a history: one file that opens anywhere, offline."""

from __future__ import annotations

import math
from pathlib import Path

import pandas as pd
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from reliability.history import charts
from reliability.history.history import History
from reliability.study.study import Study

ROWS_LISTED = 30
MOST_LATERALS = 100


def page(study: Study, history: History) -> str:
    """The page as HTML, everything in it, every text escaped."""
    environment = Environment(loader=FileSystemLoader(Path(__file__).parent), autoescape=True,
                              undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    environment.filters["figure"] = _number
    environment.globals["interval"] = _interval
    figures = [charts.yearly_chart(history), charts.yearly_chart(history, "saifi"), charts.daily_chart(history),
               charts.causes_chart(history), charts.offenders_chart(history), charts.shrinkage_chart(history)]
    return environment.get_template("page.html.j2").render(
        study=study, history=history, figures=_drawn(figures), findings=history.records.findings,
        rows_listed=ROWS_LISTED, most_laterals=MOST_LATERALS, year_rows=_year_rows(history),
        units=history.learned.units.head(MOST_LATERALS).to_dict(orient="records"),
        offenders=history.offenders.head(charts.MOST_CAUSES).reset_index().to_dict(orient="records"))


def _drawn(figures: list) -> list[Markup]:
    """Charts as HTML; the first brings the library. plotly escapes what it embeds in the script."""
    return [Markup(f.to_html(full_html=False, include_plotlyjs="inline" if i == 0 else False,  # noqa: S704
                             div_id=f"chart-{i}", config={"displaylogo": False, "responsive": True}))
            for i, f in enumerate(figures)]


def _number(value: object, digits: int = 3) -> str:
    """Four or so digits to read; a dash for what does not exist."""
    if value is None or pd.isna(value):
        return "–"
    value = float(value)
    if math.isinf(value):
        return "∞" if value > 0 else "−∞"
    if value == 0 or abs(value) >= 1000:
        return f"{value:,.0f}".replace(",", " ")
    if abs(value) < 1:
        return f"{value:.{digits}f}" if abs(value) >= 0.01 else f"{value:.2g}"
    return f"{value:.{max(digits - 1 - int(math.log10(abs(value))), 0)}f}"


def _interval(low: object, high: object) -> str:
    """From low to high; one dash where there is none."""
    return "–" if pd.isna(low) or pd.isna(high) else f"{_number(low)} to {_number(high)}"


def _year_rows(history: History) -> list[dict[str, object]]:
    thresholds = history.major_events.thresholds
    counts = history.major_events.days["year"].value_counts()
    return [{"year": int(y), "all": history.all.years.loc[y], "without": history.without_major_events.years.loc[y],
             "threshold": thresholds.loc[y], "major_days": int(counts.get(y, 0)),
             "partial": history.records.partial.get(int(y), "")} for y in history.records.years]
