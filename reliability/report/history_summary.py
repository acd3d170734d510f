"""history.json and rates.csv: what other programs read of a history."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from reliability.history.calibration import Comparison
from reliability.history.clearing import CLEARING_FACTORS
from reliability.history.history import History, View
from reliability.history.level import LEVEL
from reliability.history.pilot import POWER
from reliability.report.numbers import none_for_nan
from reliability.report.records import device_fit_frame
from reliability.report.records_reported import reported_summary
from reliability.report.reporting import face_summary


def history_summary(history: History) -> dict[str, object]:
    """The content of history.json; a figure that does not exist is None."""
    return none_for_nan({
        "years": _years(history),
        "major_events": {"method": history.major_events.method, "days": [
            {"day": str(day)[:10], "saidi_min": row.saidi_min, "customer_minutes": row.customer_minutes,
             "customer_interruptions": row.interruptions,
             "largest_event": history.single_events.loc[day].to_dict()} for day, row in _days(history)]},
        "findings": [{"code": f.code, "count": f.count, "rows": f.rows.tolist(), "what": f.title,
                      "treatment": f.treatment, "pairs": f.pairs} for f in history.records.findings],
        "restoration_times": history.times.to_dict(orient="index"),
        "priors": history.learned.priors.to_dict(orient="index"),
        "operations": _operations(history),
        "device_fit": device_fit_frame(history).to_dict(orient="records"),
        "clearing_time": _clearing(history),
        "calibration": _calibration(history),
        "conversions": _conversions(history),
        "pilot": _pilot(history),
        "report": face_summary(history.study, history), "records": reported_summary(history),
        "cautions": history.cautions,
        "notes": history.learned.notes,
    })


def _clearing(history: History) -> dict[str, object] | None:
    """How the fast clearing time fits, and what the temporary fraction is at others; None where it does not matter."""
    found = history.learned.clearing
    if found is None:
        return None
    return {"factors": list(CLEARING_FACTORS), "log_likelihood": found.log_likelihood.tolist(),
            "best_factor": found.best,
            "temporary_fraction_at": {f"{factor:g}": value for factor, value in history.learned.spans.items()}}


def _operations(history: History) -> dict[str, object]:
    """What counters and logs of reclosing devices give: by device counted steps and events, and what was left out."""
    found, ids = history.operations, history.records.network.ids
    steps = found.spans.groupby("device")["steps"].sum()
    events = found.events.groupby("device").size()
    monitored = set(found.monitored["device"].tolist())
    return {
        "devices": {str(ids[d]): {"counter_steps": steps.get(d), "events": int(events.get(d, 0)),
                                  "events_recorded": d in monitored}
                    for d in sorted({*steps.index.tolist(), *events.index.tolist(), *monitored})},
        "findings": [{"code": f.kind, "count": len(f.rows), "rows": f.rows.tolist(), "what": f.sentence,
                      "in_outages": f.in_outages}
                     for f in found.findings],
    }


def _days(history: History) -> Iterator[tuple[str, Any]]:
    days = history.major_events.days
    return zip(pd.DatetimeIndex(days.index).strftime("%Y-%m-%d"), days.itertuples(), strict=True)


def _years(history: History) -> dict[str, dict[str, object]]:
    """Every year's entry; both views are looked up as plain dictionaries, which is much quicker."""
    views = {"all": _Rows.of(history.every_event), "without_major_events": _Rows.of(history.without_major_events)}
    return {str(int(y)): _year(history, views, int(y)) for y in history.records.years}


@dataclass(frozen=True)
class _Rows:
    """The tables of a view as dictionaries of rows by key."""

    years: dict[Any, dict[Any, Any]]
    feeders: dict[Any, dict[Any, Any]]
    causes: dict[Any, dict[Any, Any]]

    @classmethod
    def of(cls, view: View) -> _Rows:
        seen = {key: _by_level(row) for key, row in view.customers.to_dict(orient="index").items()}
        years = {y: row | seen[y, ""] for y, row in view.years.to_dict(orient="index").items()}
        feeders = {key: row | seen[key] for key, row in view.feeders.to_dict(orient="index").items()}
        names = ["saifi", "saidi_min", "caidi_min", "maifi", "maifi_e", "customer_minutes"]
        return cls(years, feeders, view.causes[names].to_dict(orient="index"))


def _by_level(row: Mapping[Hashable, float]) -> dict[str, dict[str, float]]:
    """{"cemi": {"1": …}, "celid": {"4": …}} from cemi_1, …, celid_4, …: shares of customers."""
    result: dict[str, dict[str, float]] = {}
    for name, value in row.items():
        index, _, level = str(name).partition("_")
        result.setdefault(index, {})[level] = value
    return result


def _year(history: History, views: dict[str, _Rows], year: int) -> dict[str, object]:
    records, row = history.records, history.major_events.thresholds.loc[[year]].iloc[0]
    days = history.major_events.days
    return {
        **{name: rows.years[year] for name, rows in views.items()},
        "major_event_days": list(days.index[days["year"].to_numpy() == year].strftime("%Y-%m-%d")),
        "t_med": row["t_med"], "alpha": row["alpha"], "beta": row["beta"], "days_used": int(row["days_used"]),
        "years_used": int(row["years_used"]), "threshold_note": row["note"],
        "customers_served": records.served.total[year - int(records.years[0])],
        "covered": records.partial.get(year, "in full"),
        "feeders": {f: {name: rows.feeders[year, f] for name, rows in views.items()}
                    for f in records.network.feeder_ids},
        "causes": {c: {name: rows.causes[year, c] for name, rows in views.items()} for c in records.causes},
    }


def _calibration(history: History) -> dict[str, object] | None:
    found = history.calibration
    if found is None:
        return None
    return {"rate_factor": found.rate_factor, "time_factor": found.time_factor, "applied": False,
            "verdict": found.verdict, "note": found.note, "years": found.years,
            "system": found.feeders.loc[""].to_dict(),
            "feeders": found.feeders.drop(index="").to_dict(orient="index"), "all_days": _comparison(found.every_day),
            "without_major_events": _comparison(found.ordinary)}


def _comparison(found: Comparison | None) -> dict[str, object] | None:
    """Recorded against modelled figures on one kind of days."""
    if found is None:
        return None
    table, ends = found.feeders, ("ratio", "low", "high")
    return {"years": found.years, "saifi": dict(zip(ends, found.rate, strict=True)),
            "minutes_per_interruption": dict(zip(ends, found.time, strict=True)), "system": table.loc[""].to_dict(),
            "feeders": table.drop(index="").to_dict(orient="index"),
            "restoration_times": found.times.to_dict(orient="index")}


def _conversions(history: History) -> dict[str, object] | None:
    found = history.conversions
    if found is None:
        return None
    left_out = found.basis.left_out
    return {"laterals_converted": found.converted, "laterals_unconverted": found.others,
            "years_before": found.years_before, "years_after": found.years_after,
            "years_left_out": found.years_left_out, "chosen_by": history.records.settings.chosen_by,
            "decides": found.basis.decides, "basis": found.basis.sentence,
            "days_of_choice_left_out": None if left_out is None else [str(day) for day in left_out],
            "measures": found.measures.to_dict(orient="index"), "notes": found.notes}


def _pilot(history: History) -> dict[str, object] | None:
    found = history.pilot
    if found is None:
        return None
    fleet = found.fleet
    return {"measure": "sustained_interruptions", "expected_ratio": found.ratio, "power": POWER, "level": LEVEL,
            "laterals": fleet.laterals, "events_per_lateral_year": fleet.rate,
            "cv_between_laterals": fleet.between ** 0.5, "lateral_year_cv": fleet.spread ** 0.5,
            "years_before": fleet.years_before, "designs": found.designs.to_dict(orient="records"),
            "notes": found.notes}


def rates_table(history: History) -> pd.DataFrame:
    """Content of rates.csv: a row a lateral or main, see `rates.LearnedRates.units`."""
    return history.learned.units.rename(columns={"unit": "section_id"})
