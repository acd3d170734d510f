"""Frames that a report needs from the outage records, a row a year, feeder, event, cause or day."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.history.cause_years import NOT_GIVEN
from reliability.history.history import History, View
from reliability.history.rate_notes import misfits

MANY_OUTAGES = 12       # California D.96-09-045: more than twelve sustained outages in a year
LARGEST_LISTED = 10    # ... and the ten largest events
ALL_EVENTS, WITHOUT = "all events", "without major event days"


def momentary_note(history: History, *notes: str) -> str:
    """Notes below a table of recorded indices, the last of them what its MAIFI and MAIFI_E are worth."""
    records = history.study.values["momentary"]
    own = {"some": "Not every reclosing device has its momentary events in the records, as the study states: MAIFI and "
                   "MAIFI_E are the least that happened, so that no rank and no trend is made of them.",
           "none": "The records hold no momentary events that can be relied on, as the study states: MAIFI and MAIFI_E "
                   "say nothing."}.get(str(records), "")
    return " ".join(filter(None, (*notes, own)))


def years_frame(history: History) -> pd.DataFrame:
    """Indices by year and view, with means of the last three, five and ten years where there are so many."""
    records, counts = history.records, history.major_events.days["year"].value_counts()
    names, frames = [str(int(y)) for y in records.years], []
    for view, rows in ((ALL_EVENTS, history.every_event), (WITHOUT, history.without_major_events)):
        frame = rows.years.reset_index(drop=True).assign(year=names, view=view, customers_served=records.served.total)
        frame["days"] = [float(counts.get(int(y), 0)) for y in records.years]
        frame["remark"] = ["; ".join(filter(None, (records.partial.get(int(y), ""), _untold(history, int(y)))))
                           for y in records.years]
        frames.append(frame)
        for n in (3, 5, 10):
            if len(names) >= n:
                mean = frame.iloc[len(names) - n:len(names)].mean(numeric_only=True)
                mean["caidi_min"] = mean["saidi_min"] / mean["saifi"] if mean["saifi"] > 0 else np.nan
                frames.append(pd.DataFrame([mean.to_dict() | {
                    "year": f"mean of {n}", "view": view, "remark": f"{names[-n]} to {names[-1]}"}]))
    result = pd.concat(frames, ignore_index=True)
    order = {y: i for i, y in enumerate(dict.fromkeys([*names, *result["year"]]))}
    return result.sort_values(["year", "view"], key=lambda c: c.map(order) if c.name == "year" else c, kind="stable",
                              ignore_index=True)


def _untold(history: History, year: int) -> str:
    return "" if history.major_events.has_verdict(year) else "no threshold: no day set apart"


def feeders_frame(history: History) -> pd.DataFrame:
    """Indices by feeder, the latest year first; both views of a feeder stand together."""
    def view(rows: View, name: str) -> pd.DataFrame:
        return rows.feeders.reset_index().assign(view=name)

    frame = pd.concat([view(history.every_event, ALL_EVENTS), view(history.without_major_events, WITHOUT)])
    place = {f: i for i, f in enumerate(history.records.network.feeder_ids)}
    frame = frame.assign(order=frame["feeder_id"].map(place)).sort_values(
        ["year", "order", "view"], ascending=[False, True, True], kind="stable", ignore_index=True)
    return frame.drop(columns="order").astype({"year": str})


def largest_events(history: History, most: int = LARGEST_LISTED) -> pd.DataFrame:
    """Events with the most customer-minutes, largest first."""
    steps = _sustained(history)
    by_event = steps.groupby("event", sort=False)
    table = by_event.agg(started=("event_started", "first"), ended=("ended", "max"), section=("section", "first"),
                         cause=("cause", "first"), customers=("customers", "sum"), customer_minutes=("minutes", "sum"),
                         day=("day", "first"), year=("year", "first"))
    table = table.nlargest(most, "customer_minutes", keep="first")
    network, section = history.records.network, table["section"].to_numpy(dtype=int)
    served = history.records.served.total[table["year"].to_numpy(dtype=int) - int(history.records.years[0])]
    return pd.DataFrame({
        "started": table["started"].dt.strftime("%Y-%m-%d %H:%M").to_numpy(),
        "section_id": np.where(section >= 0, network.ids[section], "unknown"),
        "feeder_id": np.where(section >= 0, network.feeder_ids[network.feeder[section]], "unknown"),
        "cause": _cause_names(history)[table["cause"].to_numpy(dtype=int)],
        "customers": table["customers"].to_numpy(), "customer_minutes": table["customer_minutes"].to_numpy(),
        "saidi_min": _over(table["customer_minutes"].to_numpy(), served),
        "hours": (table["ended"] - table["started"]).dt.total_seconds().to_numpy() / 3600.0,
        "major": np.where(table["day"].isin(history.major_events.days.index), "yes", "no")})


def causes_frame(history: History) -> pd.DataFrame:
    """Sums by cause over all years and their trend, most customer-minutes first; see `causes_with_trend`."""
    return history.reported.causes.reset_index()


def excluded_days(history: History) -> pd.DataFrame:
    """Major event days: threshold, excess, customers, minutes, largest event, main cause, feeders and restoration."""
    days = history.major_events.days
    steps = _sustained(history)
    steps = steps[steps["day"].isin(days.index)]
    network = history.records.network
    limit = history.major_events.thresholds["t_med"]
    rows = []
    for day, part in steps.groupby("day"):
        row, largest = days.loc[[day]].iloc[0], history.single_events.xs(day)
        by_cause = part.groupby("cause")["minutes"].sum()
        main_cause = by_cause.index.to_numpy(dtype=int)[int(np.argmax(by_cause))]
        known = part[part["section"] >= 0]["section"].to_numpy(dtype=int)
        feeders = [str(f) for f in network.feeder_ids[np.unique(network.feeder[known])]]
        year = int(row["year"])
        served = float(history.records.served.total[year - int(history.records.years[0])])
        rows.append({
            "day": f"{day:%Y-%m-%d}", "saidi_min": row["saidi_min"], "threshold": limit.get(year, np.nan),
            "excess": row["saidi_min"] - limit.get(year, np.nan),
            "customers": row["interruptions"], "share": row["interruptions"] / served if served else np.nan,
            "customer_minutes": row["customer_minutes"], "largest": largest["share"],
            "event": f"{largest['event_id']} at {largest['section_id'] or 'an unknown place'}",
            "cause": _cause_names(history)[main_cause],
            "feeders": _listed(feeders), "restored": part["ended"].max().strftime("%Y-%m-%d %H:%M")})
    return pd.DataFrame(rows)


def most_interruptions(history: History, more_than: int = MANY_OUTAGES) -> pd.DataFrame:
    """Years and feeders where some section saw more than so many sustained outages: a bound for its customers."""
    network, steps = history.records.network, _sustained(history)
    steps = steps[steps["section"] >= 0].drop_duplicates(["event", "section"])
    rows = []
    for year in history.records.years:
        at = steps.loc[steps["year"] == year, "section"].to_numpy(dtype=int)
        seen = network.along_path(np.bincount(at, minlength=len(network)).astype(float))
        seen = np.where(network.customers > 0, seen, 0.0)
        most = np.zeros(len(network.feeder_ids))
        np.maximum.at(most, network.feeder, seen)
        rows += [{"year": str(int(year)), "feeder_id": network.feeder_ids[f], "outages": most[f]}
                 for f in np.flatnonzero(most > more_than)]
    return pd.DataFrame(rows, columns=["year", "feeder_id", "outages"])


def _sustained(history: History) -> pd.DataFrame:
    """Steps that enter the sustained indices, with customer-minutes and the end of each."""
    steps = history.records.steps
    steps = steps[steps["sustained"].to_numpy() & steps["counted"].to_numpy()]
    seconds = steps["seconds"].to_numpy()
    ended = steps["started"].to_numpy() + np.round(seconds).astype("timedelta64[s]")
    off, customers = steps["already_off"].to_numpy(), steps["customers"].to_numpy()
    minutes = (customers * seconds - off * steps["off_seconds"].to_numpy()) / 60.0
    return steps.assign(customers=customers - off, minutes=minutes, ended=ended)


def _cause_names(history: History) -> np.ndarray:
    return np.array([str(c) or NOT_GIVEN for c in history.records.causes], dtype=object)


def _over(total: np.ndarray, served: np.ndarray) -> np.ndarray:
    return np.divide(total, served, out=np.full(len(total), np.nan), where=served > 0)


def _listed(names: list[str], most: int = 6) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def device_fit_frame(history: History) -> pd.DataFrame:
    """The fit of reclosing devices, worst first: section_id, what, recorded, predicted, low, high, probability,
    verdict."""
    found, network = history.learned.fit, history.records.network
    reasons = iter(misfits(found, network))
    verdict = ["fits" if fits else next(reasons)[1].partition("; ")[2].rstrip(".") for fits in found.table["fits"]]
    table = found.table.assign(verdict=verdict, section_id=[str(network.ids[d]) for d in found.table["device"]])
    return table.sort_values("probability", kind="stable", ignore_index=True)[
        ["section_id", "what", "recorded", "predicted", "low", "high", "probability", "verdict"]]
