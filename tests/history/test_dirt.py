"""Whatever stands in the cells: a result in which every row is used or listed, or a problem; never a crash."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from reliability.history.history import read_history
from reliability.report.history_output import write_history
from reliability.report.history_summary import history_summary
from reliability.schema.problems import StudyError
from tests.history.records import outage, study

TIMES = st.one_of(
    st.sampled_from(["", "2023-05-03T10:00", "2023-05-03T10:04:59", "2022-12-31T23:59", "03/04/2023 10:00",
                     "25/12/2022 8:00", "12/25/2022 8:00", "0000-01-01", "10000-01-01", "9999-12-31T00:00:00", "now",
                     "2023-11-05T01:30", "2023-05-03T10:00Z", "2023-05-03 10:00+25:99", "1e400", "-1", "NaN", "\x00",
                     "2023-02-29", "24:00", "99/99/9999 99:99", "1/1/1/1", "二〇二三"]),
    st.datetimes().map(lambda t: t.isoformat()), st.text(max_size=12))
CELLS = st.one_of(st.sampled_from(["", "0", "1", "-1", "1e400", "nan", "inf", "12.5", "1,000", "99999999999999999999"]),
                  st.text(max_size=6))
ROWS = st.lists(st.builds(
    lambda event, start, end, customers, section, kind, planned, cause: outage(
        event, start, end, customers, section, fault_kind=kind, planned=planned, cause=cause),
    st.sampled_from(["", "a", "b", "c"]), TIMES, TIMES, CELLS, st.sampled_from(["", "A", "A1x", "B", "?"]),
    st.sampled_from(["", "temporary", "PERMANENT", "?"]), st.sampled_from(["", "true", "no", "?"]),
    st.text(max_size=3)),
    min_size=1, max_size=8)


@given(ROWS, st.sampled_from(["", "day_first", "month_first"]), st.sampled_from([None, "America/Chicago"]),
       st.booleans())
def test_every_row_is_used_or_listed(rows, order, zone, planned):
    try:
        history = read_history(study(rows, date_order=order, time_zone=zone, include_planned=planned))
    except StudyError:
        return
    steps = history.records.steps
    listed = {int(r) for f in history.records.findings for r in f.rows}
    assert set(steps.loc[steps["counted"], "row"]) | listed == set(range(2, len(rows) + 2))
    years = history.every_event.years
    assert (years["saifi"] >= 0).all()
    assert (years["maifi_e"] <= years["maifi"] + 1e-12).all()
    assert np.isfinite(years["saidi_min"]).all()
    if len(rows) % 4 == 1:          # rates are learned for it, which takes its time
        assert history_summary(history)["years"]


def test_a_network_without_customers_has_no_indices(tmp_path):
    sections = [{"section_id": "A", "parent_id": "", "device": "breaker", "customers": 0, "length_km": 0.0}]
    made = study([outage("a", "2023-05-03T10:00", "2023-05-03T11:00", 0, "A")], sections)
    history = write_history(made, tmp_path / "out")
    assert np.isnan(history.every_event.years.loc[2023, "saifi"])
    assert history_summary(history)["years"]["2023"]["all"]["saifi"] is None
    assert np.isnan(history.learned.units["rate_per_km"]).all()
