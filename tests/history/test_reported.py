"""Circuits, areas, rolling windows, causes and completeness of the records, against sums made row by row."""

from __future__ import annotations

import math
from collections import defaultdict
from functools import cache

import numpy as np
import pandas as pd
import pytest

from reliability.history.history import History, read_history
from reliability.history.panels import PANEL_INDICES
from reliability.history.reporting import first_year, full_years, reporting_year, years_shown
from reliability.history.trends import trend
from reliability.history.worst_circuits import CIRCUIT_LABELS, worst_few
from tests.history.records import outage, study

# Feeder A spans two areas, and one of its laterals lies in the other; feeder B states an area on one section only.
SECTIONS = (
    {"section_id": "A", "parent_id": "", "device": "breaker", "customers": 100, "length_km": 5.0, "area": "North"},
    {"section_id": "A1", "parent_id": "A", "device": "fuse", "customers": 60, "length_km": 2.0, "area": "South"},
    {"section_id": "A1x", "parent_id": "A1", "device": "fuse", "customers": 20, "length_km": 1.0, "area": "South"},
    {"section_id": "A2", "parent_id": "A", "device": "fuse", "customers": 40, "length_km": 3.0, "area": "North"},
    {"section_id": "A3", "parent_id": "A", "device": "fuse", "customers": 7, "length_km": 3.0, "area": "North"},
    {"section_id": "B", "parent_id": "", "device": "breaker", "customers": 150, "length_km": 8.0},
    {"section_id": "B1", "parent_id": "B", "device": "fuse", "customers": 30, "length_km": 8.0, "area": "South"},
)
IDS = [str(s["section_id"]) for s in SECTIONS]
CUSTOMERS = {str(s["section_id"]): int(s["customers"]) for s in SECTIONS}
PARENT = {str(s["section_id"]): str(s["parent_id"]) for s in SECTIONS}
AREA = {str(s["section_id"]): str(s.get("area", "")) or "(no area stated)" for s in SECTIONS}
SERVED = {"2020": 300, "2021": 407, "2022": 500, "2023": 450, "2024": 407}
TOTAL = sum(CUSTOMERS.values())


def below(section: str) -> list[str]:
    """The section and all below it."""
    return [section] + [i for child in IDS if PARENT[child] == section for i in below(child)]


def rows_of(seed: int, n: int = 260, end: str = "2024-12-31") -> list[dict]:
    """Outages far enough apart that none is found twice and no momentary event has a sustained one near it."""
    rng = np.random.default_rng(seed)
    days = np.arange(np.datetime64("2020-01-01"), np.datetime64(end) + 1)
    picked = np.sort(rng.choice(len(days), n, replace=False))
    rows = []
    for k, day in enumerate(days[picked]):
        section = str(rng.choice([*IDS, "", "elsewhere"]))
        most = 50
        if section in CUSTOMERS:     # a third name the place of the fault while a device nearer the source opened
            most = sum(CUSTOMERS[i] for i in below(section[0] if rng.random() < 0.33 else section))
        momentary = rng.random() < 0.3
        start = np.datetime64(f"{day}T08:00:00")
        lasts = int(rng.integers(1, 200)) if momentary else int(rng.integers(400, 60_000) ** 1.0)
        rows.append(outage(f"e{k}", str(start), str(start + lasts), int(rng.integers(1, most + 1)), section,
                           cause=str(rng.choice(["tree", "wind", "unknown", ""]))))
    return rows


@cache
def history_of(seed: int, momentary: str = "some") -> History:
    rows = rows_of(seed)
    days = ", ".join(row["started"][:10] for row in rows[::9])
    return read_history(study(rows, sections=SECTIONS, extra={"customers_served": SERVED}, major_event_method="fixed",
                              major_event_days=days, momentary=momentary))


def plain_rows(history: History, without: bool) -> list[dict]:
    """Rows of the records as plain values, those of major event days left out where asked for."""
    days = set(history.major_events.days.index.strftime("%Y-%m-%d"))
    found = []
    for row in history.study.outages.to_dict("records"):
        start, end = (pd.Timestamp(row[c]) for c in ("started", "restored"))
        if not (without and str(start.date()) in days):
            found.append({**row, "year": start.year, "month": start.to_period("M"), "customers": int(row["customers"]),
                          "minutes": (end - start).total_seconds() / 60.0})
    return found


def by_hand(history: History, without: bool, shares, served) -> dict:
    """(year, part) → SAIFI, SAIDI, CAIDI, MAIFI_E, events. shares: {part: share} of a row. served: of year and part."""
    sums = defaultdict(lambda: np.zeros(4))
    for row in plain_rows(history, without):
        for part, share in shares(row).items():
            customers, lasting = share * row["customers"], row["minutes"] > 5
            sums[row["year"], part] += (customers * lasting, customers * row["minutes"] * lasting,
                                        customers * (not lasting), lasting)
    return {key: (ci / served(*key), cmi / served(*key), cmi / ci if ci else math.nan, blinks / served(*key), events)
            for key, (ci, cmi, blinks, events) in sums.items()}


def grown(year: int, part_customers: float) -> float:
    return SERVED[str(year)] * part_customers / TOTAL


def reached(section: str, customers: float) -> str:
    """First section at or above the one named with so many customers."""
    while sum(CUSTOMERS[i] for i in below(section)) < customers and PARENT[section]:
        section = PARENT[section]
    return section


def area_shares(row: dict) -> dict[str, float]:
    if row["section_id"] not in CUSTOMERS:
        return {}
    inside = below(reached(row["section_id"], row["customers"] / max(grown(row["year"], 1.0), 1.0)))
    total = sum(CUSTOMERS[i] for i in inside)
    shares: dict[str, float] = defaultdict(float)
    for i in inside:
        shares[AREA[i]] += CUSTOMERS[i] / total
    return shares


def compare(panel, wanted: dict, names) -> None:
    for year in (2020, 2021, 2022, 2023, 2024):
        found = panel.indices([year])
        for name in names:
            expected = wanted.get((year, name), (0, 0, math.nan, 0, 0))
            np.testing.assert_allclose(found.loc[name, list(PANEL_INDICES)].to_numpy(dtype=float), expected, rtol=1e-9)


@pytest.mark.parametrize("without", [False, True])
@pytest.mark.parametrize("seed", range(3))
def test_an_area_has_its_customers_share_of_every_outage(seed, without):
    history = history_of(seed)
    assert len(history.major_events.days)
    every, rest = history.reported.areas
    assert list(every.names) == ["North", "South", "(no area stated)"]
    of_area = {name: sum(c for i, c in CUSTOMERS.items() if AREA[i] == name) for name in every.names}
    wanted = by_hand(history, without, area_shares, lambda year, area: grown(year, of_area[area]))
    compare(rest if without else every, wanted, every.names)


@pytest.mark.parametrize("without", [False, True])
def test_an_areas_customers_sum_to_the_system_where_all_places_are_known(without):
    rows = [r for r in rows_of(5) if r["section_id"] in CUSTOMERS]
    history = read_history(study(rows, sections=SECTIONS, extra={"customers_served": SERVED},
                                 major_event_method="fixed", major_event_days=rows[0]["started"][:10]))
    panel = history.reported.areas[1 if without else 0]
    view = history.without_major_events if without else history.every_event
    for name, index in (("interruptions", "saifi"), ("customer_minutes", "saidi_min"), ("momentary_events", "maifi_e")):
        np.testing.assert_allclose(panel.sums[name].sum(axis=1) / panel.served.sum(axis=1), view.years[index])


def test_a_study_without_areas_has_none():
    bare = tuple({k: v for k, v in s.items() if k != "area"} for s in SECTIONS)
    assert read_history(study(rows_of(0), sections=bare)).reported.areas is None


@pytest.mark.parametrize("without", [False, True])
@pytest.mark.parametrize("kind", ["feeders", "laterals"])
def test_circuits_are_ranked_by_the_sums_of_their_own_records(kind, without):
    history = history_of(1)
    circuits = getattr(history.reported, kind)
    root = {i: i[0] for i in IDS}
    unit = {i: "A1" if i == "A1x" else i for i in IDS if PARENT[i]}     # a fuse behind a fuse is a branch of it
    known = root if kind == "feeders" else unit
    size = ({n: sum(c for i, c in CUSTOMERS.items() if root[i] == n) for n in "AB"} if kind == "feeders" else
            {n: sum(CUSTOMERS[i] for i in below(n)) for n in unit.values()})
    wanted = by_hand(history, without,
                     lambda row: {known[row["section_id"]]: 1.0} if row["section_id"] in known else {},
                     lambda year, name: grown(year, size[name]))
    panel = circuits.without if without else circuits.every_event
    compare(panel, wanted, size)
    end = "" if without else "_all"
    assert circuits.years == ((2024,) if kind == "feeders" else (2022, 2023, 2024))
    for name in size:
        saifi, saidi, events = (np.mean([wanted.get((y, name), (0,) * 5)[k] for y in circuits.years])
                                for k in (0, 1, 4))
        row = circuits.table.loc[name]
        found = (row[f"saifi{end}"], row[f"saidi_min{end}"], row[f"events{end}"])
        assert found == pytest.approx((saifi, saidi, events))
        assert row[f"caidi_min{end}"] == pytest.approx(saidi / saifi, nan_ok=True)
    if without:
        saidi = circuits.table["saidi_min"]
        assert all(circuits.table["rank_saidi_min"] == [1 + sum(saidi > value) for value in saidi])
        best = circuits.table[["rank_saifi", "rank_saidi_min", "rank_events"]].min(axis=1)
        assert best.is_monotonic_increasing


def test_years_worst_are_those_in_which_a_circuit_was_among_the_worst():
    history = history_of(2, "all")
    circuits = history.reported.laterals
    for view, end in ((circuits.without, ""), (circuits.every_event, "_all")):
        means = view.indices(circuits.years)
        for index, label in CIRCUIT_LABELS.items():
            top = max(means.index, key=lambda n: (np.nan_to_num(means.loc[n, index]), means.loc[n, "customer_minutes"],
                                                  -list(means.index).index(n)))
            said = {n for n, text in circuits.table[f"worst_by{end}"].items() if label in text.split(", ")}
            assert said == ({top} if means.loc[top, index] > 0 else set())
    for name, row in circuits.table.iterrows():
        wanted = []
        for year in (2020, 2021, 2022, 2023, 2024):
            one = circuits.without.indices([year])
            labels = [label for index, label in CIRCUIT_LABELS.items() if (
                (v := np.nan_to_num(one[index].to_numpy())) > 0).any() and one.index[
                    np.lexsort((-one["customer_minutes"].to_numpy(), -v))[0]] == name]
            wanted += [f"{year} {', '.join(labels)}"] if labels else []
        assert row["years_worst_by"] == "; ".join(wanted)
        assert row["years_worst"] == ", ".join(text[:4] for text in wanted)


@pytest.mark.parametrize(("n", "few"), [(1, 1), (19, 1), (20, 1), (21, 2), (40, 2), (41, 3), (600, 30)])
def test_five_per_cent_rounded_up_and_never_one_without_an_interruption(n, few):
    rng = np.random.default_rng(n)
    values = rng.permutation(n) + 1.0
    flags = worst_few(values, np.zeros(n))
    assert flags.sum() == few
    assert set(values[flags]) == set(np.sort(values)[n - few:])
    assert not worst_few(np.zeros(n), np.zeros(n)).any()
    assert worst_few(np.append(values, np.nan), np.zeros(n + 1))[-1] == 0


def test_equal_values_are_told_apart_by_customer_minutes():
    flags = worst_few(np.array([2.0, 2.0, 2.0, 1.0]), np.array([5.0, 9.0, 7.0, 99.0]))
    assert flags.tolist() == [False, True, False, False]


@pytest.mark.parametrize("without", [False, True])
@pytest.mark.parametrize("seed", range(2))
def test_rolling_twelve_months_are_sums_of_the_months(seed, without):
    history = history_of(seed)
    months = history.reported.months.without if without else history.reported.months.every_event
    rows = plain_rows(history, without)
    assert list(months.index) == [str(m) for m in pd.period_range("2020-12", "2024-12", freq="M")]
    for name, found in months.iterrows():
        end = pd.Period(name, "M")
        part = [r for r in rows if end - 12 < r["month"] <= end]
        ci, cmi, blinks = (sum(f(r) / SERVED[str(r["year"])] for r in part) for f in (
            lambda r: r["customers"] * (r["minutes"] > 5), lambda r: r["customers"] * r["minutes"] * (r["minutes"] > 5),
            lambda r: r["customers"] * (r["minutes"] <= 5)))
        assert (found["saifi"], found["saidi_min"], found["maifi_e"]) == pytest.approx((ci, cmi, blinks))
        assert found["caidi_min"] == pytest.approx(cmi / ci)
    view = history.without_major_events if without else history.every_event
    for year in view.years.index:
        assert months.loc[f"{year}-12", "saidi_min"] == pytest.approx(view.years.loc[year, "saidi_min"])


def test_months_and_years_covered_in_part_enter_no_mean():
    rows = rows_of(3, 200)
    made = read_history(study(rows, sections=SECTIONS, records_from="2020-03-10", records_to="2024-10-15"))
    assert made.reported.months.every_event.index[0] == "2021-03"      # April to March
    assert made.reported.months.every_event.index[-1] == "2024-09"
    assert list(made.reported.three_years.every_event.index) == [2023]
    assert full_years(made.records) == [2021, 2022, 2023]
    assert made.reported.year == made.reported.shown == 2023
    short = read_history(study(rows, sections=SECTIONS, records_from="2024-01-01", records_to="2024-06-30"))
    assert len(short.reported.months.every_event) == 0
    assert short.reported.year is None
    assert short.reported.shown == 2024


@pytest.mark.parametrize("without", [False, True])
def test_three_and_five_year_means(without):
    history = history_of(4)
    years = (history.without_major_events if without else history.every_event).years
    for span, both in ((3, history.reported.three_years), (5, history.reported.five_years)):
        means = both.without if without else both.every_event
        assert list(means.index) == list(range(2019 + span, 2025))
        for last, row in means.iterrows():
            part = years.loc[last - span + 1:last]
            assert row["saidi_min"] == pytest.approx(part["saidi_min"].mean())
            assert row["caidi_min"] == pytest.approx(part["saidi_min"].sum() / part["saifi"].sum())


def test_a_year_without_a_threshold_enters_no_mean_of_days_without_major_events():
    made = read_history(study(rows_of(3), sections=SECTIONS))
    assert made.major_events.unclassified(made.records.years) == (2020,)
    assert list(made.reported.three_years.every_event.index) == [2022, 2023, 2024]
    assert list(made.reported.three_years.without.index) == [2023, 2024]
    assert list(made.reported.five_years.every_event.index) == [2024]
    assert not len(made.reported.five_years.without)


def test_a_place_without_any_momentary_record_has_no_maifi_e():
    """Silence of a device tells nothing, unless [records] says that every device is recorded."""
    rows = [outage("a", "2023-03-01T10:00", "2023-03-01T10:01", 20, "A", cause="wind"),
            outage("b", "2023-05-01T10:00", "2023-05-01T12:00", 30, "B1", cause="wind"),
            outage("c", "2024-05-01T10:00", "2024-05-01T12:00", 30, "A1", cause="wind")]
    some, all_ = (read_history(study(rows, sections=SECTIONS, momentary=said)) for said in ("some", "all"))
    for year, seen in ((2023, 20 / 227), (2024, 0.0)):
        for made, silent in ((some, math.nan), (all_, 0.0)):
            table = made.every_event.feeders.loc[year]
            np.testing.assert_allclose(table.loc["A", ["maifi", "maifi_e"]].astype(float), seen)
            np.testing.assert_allclose(table.loc["B", ["maifi", "maifi_e"]].astype(float), silent)
            panel = made.reported.feeders.every_event.indices([year])["maifi_e"]
            np.testing.assert_allclose(panel.loc[["A", "B"]], [seen, silent])
    assert some.reported.feeders.table["rank_maifi_e"].isna().all()         # neither ranks by it
    assert not some.reported.feeders.table[["worst_by", "worst_by_all", "years_worst_by"]].apply(
        lambda column: column.str.contains("MAIFI")).any(axis=None)
    assert all_.reported.feeders.table["rank_maifi_e"].to_dict() == {"A": 1.0, "B": 1.0}
    assert all_.reported.feeders.table["years_worst_by"].str.contains("MAIFI_E").any()
    assert any("of 1 feeder (B)" in caution for caution in some.cautions)
    assert not any("momentary interruption is recorded" in caution for caution in all_.cautions)


def test_causes_are_counted_by_hand_with_and_without_major_event_days():
    history = history_of(0)
    table = history.reported.causes
    for view, names in ((False, ("events", "interruptions", "customer_minutes")),
                        (True, ("events_without", "interruptions_without", "minutes_without"))):
        for cause in ("tree", "wind", "unknown", ""):
            part = [r for r in plain_rows(history, view) if r["cause"] == cause and r["minutes"] > 5]
            wanted = (len({r["event_id"] for r in part}), sum(r["customers"] for r in part),
                      sum(r["customers"] * r["minutes"] for r in part))
            assert tuple(table.loc[cause or "(no cause given)", list(names)]) == pytest.approx(wanted)
    for cause in ("tree", "wind"):
        part = [r for r in plain_rows(history, True) if r["cause"] == cause and r["minutes"] > 5]
        counts = [sum(r["year"] == y for r in part) for y in range(2020, 2025)]
        slope = np.polyfit(np.arange(5), counts, 1)[0]
        assert table.loc[cause, "change_per_year"] == pytest.approx(slope / np.mean(counts))
        assert table.loc[cause, "events_last"] == counts[-1]
        assert table.loc[cause, "events_per_year"] == pytest.approx(np.mean(counts))
    assert table["customer_minutes"].is_monotonic_decreasing


def test_an_event_of_several_steps_and_places_counts_once():
    rows = [outage("a", "2023-03-01T10:00", "2023-03-01T11:00", 20, "A1", cause="wind"),
            outage("a", "2023-03-01T10:00", "2023-03-01T12:00", 30, "A2", cause="wind"),
            outage("a", "2023-03-01T10:00", "2023-03-01T10:03", 30, "A2", cause="wind"),
            outage("b", "2023-05-01T10:00", "2023-05-01T12:00", 30, "B1", cause="wind")]
    found = read_history(study(rows, sections=SECTIONS)).reported
    assert found.causes["events"].tolist() == [2.0]
    assert found.feeders.table["events"].to_dict() == {"A": 1.0, "B": 1.0}
    assert found.laterals.table["events"].to_dict() == {"A1": 1.0, "A2": 1.0, "B1": 1.0, "A3": 0.0}


@pytest.mark.parametrize(("values", "verdict"), [
    ([10, 12, 14, 16, 18.1], "rising"), ([18, 16.2, 14, 12, 10], "falling"), ([10, 14, 9, 13, 11], "none shown"),
    ([5, 5, 5, 5], "none shown"), ([0, 0, 0, 0, 0], "none shown"), ([1, 9, 20], "too few years"),
    ([10, np.nan, 14, 16, 18.2, 20], "rising")])
def test_a_trend_is_shown_only_beyond_the_scatter_of_the_years(values, verdict):
    assert trend(np.array(values, dtype=float)).verdict == verdict


def test_a_trend_is_shown_by_chance_one_time_in_ten():
    """Theory: the test is exact for normal years, so of 2000 series without a trend 200 show one, 4 errors 54."""
    rng = np.random.default_rng(7)
    shown = sum(trend(rng.normal(100, 10, 6)).verdict in ("rising", "falling") for _ in range(2000))
    assert abs(shown - 200) < 54


def test_rows_without_a_usable_value_are_counted():
    rows = [outage("a", "2023-01-01T10:00", "2023-01-01T12:00", 10, "A1", cause="wind", fault_kind="permanent"),
            outage("b", "2023-02-01T10:00", "", 10, "A1", cause="Unknown"),
            outage("c", "2023-03-01T10:00", "2023-03-01T09:00", 10, "", cause=""),
            outage("d", "2023-04-01T10:00", "2023-04-01T11:00", "", "nowhere", cause="tree"),
            outage("e", "", "2023-05-01T11:00", 5, "A2", cause="tree", fault_kind="temporary")]
    table = read_history(study(rows, sections=SECTIONS)).reported.completeness
    assert table["rows"].to_dict() == {"started": 1.0, "restored": 2.0, "customers": 1.0, "section_id": 2.0,
                                       "cause": 2.0, "fault_kind": 3.0}
    assert table["share"].tolist() == pytest.approx((table["rows"] / 5).tolist())


def test_the_reporting_year_is_stated_or_the_last_full_year():
    history = history_of(1)
    records, values = history.records, history.study.values
    assert (reporting_year(values, records), first_year(values, records)) == (2024, 2025)
    assert (reporting_year(values, None), first_year(values, None)) == (None, None)
    stated = {**values, "reporting_year": 2022}
    assert (reporting_year(stated, records), first_year(stated, records)) == (2022, 2023)
    assert years_shown(stated, records, 3) == [2020, 2021, 2022]
    assert years_shown({**values, "reporting_year": 2031}, records, 2) == [2023, 2024]
    assert first_year({**values, "first_year": 2030}, records) == 2030


@pytest.mark.parametrize(("circuits", "share", "worst"), [(140, 0.05, 7), (141, 0.05, 8), (21, 0.05, 2),
                                                          (100, 0.07, 7)])
def test_a_share_rounded_up_is_the_worst(circuits, share, worst):
    """0.07 · 100 is 7.000000000000001 in double precision, and no eighth."""
    assert worst_few(np.arange(1.0, circuits + 1), np.zeros(circuits), share).sum() == worst



def test_customers_served_are_the_mean_of_the_years_shown():
    for circuits, part in ((history_of(1).reported.feeders, "A"), (history_of(1).reported.laterals, "A1")):
        assert len(circuits.years) < len(SERVED)
        customers = sum(CUSTOMERS[i] for i in below(part))
        served = np.mean([SERVED[str(year)] for year in circuits.years])
        assert circuits.table.loc[part, "customers_served"] == pytest.approx(served * customers / TOTAL)


def test_a_trend_goes_by_years_those_without_a_value_left_out():
    assert trend(np.array([1.0, 2.0, np.nan, 4.0, 5.0])).per_year == pytest.approx(1 / 3)
