"""Sections of the history's document beyond those that it shares with the report of a study."""

from __future__ import annotations

import pandas as pd

from reliability import __version__
from reliability.cautions import CAUTION
from reliability.formats import noun_for
from reliability.history.device_fit import STANDS_OUT
from reliability.report import charts_history as charts
from reliability.report.blocks import Bullets, Caution, Column, Section, Table, Text, words
from reliability.report.content import RecordedContent
from reliability.report.definitions import LEARNED_INTERVALS
from reliability.report.figures import Figure, Sentence, joined, say
from reliability.report.places import place_columns, with_names
from reliability.report.plain_words import SPOKEN_KINDS
from reliability.report.records import device_fit_frame
from reliability.report.sections_history import completeness, findings_and_model

RATES_FILE, ALL_FILE = "rates.csv", "history.json"
MOST_UNITS_LISTED = 40


def overview(recorded: RecordedContent) -> Section:
    """What the records cover, the last year in two sentences, and what to keep in mind."""
    records, served = recorded.history.records, recorded.history.records.served.total
    period = say("Outage records from {first} to {last}: {n} restoration steps in use; {served} customers served in "
                 "the last year.", first=str(records.first_day), last=str(records.last_day),
                 n=Figure(len(records.steps), "count"), served=Figure(float(served[-1]), "count"))
    cautions = recorded.history.cautions
    more = [Bullets(tuple((c,) for c in cautions if c != CAUTION))] if set(cautions) - {CAUTION} else []
    return Section("summary", "Summary", (Text(period, "Records"), Text(_last_year(recorded), "Indices"),
                                          Caution((CAUTION,)), *more))


def _last_year(recorded: RecordedContent) -> Sentence:
    history, year = recorded.history, int(recorded.history.records.years[-1])

    def pair(frame: pd.DataFrame) -> Sentence:
        return say("SAIFI {saifi} and SAIDI {saidi} minutes", saifi=Figure(float(frame["saifi"].loc[year]), "index"),
                   saidi=Figure(float(frame["saidi_min"].loc[year]), "minutes"))

    sentences = [say("{year}, all events: {pair}.", year=str(year), pair=pair(history.every_event.years))]
    if history.major_events.has_verdict(year):
        days = int((history.major_events.days["year"] == year).sum())
        sentences.append(say("Without its {n} major event {days}: {pair}.", n=Figure(days, "count"),
                        days=noun_for(days, "day"), pair=pair(history.without_major_events.years)))
    else:
        sentences.append(say("The year has no threshold, so no day is excluded."))
    return joined(sentences)


def accuracy(recorded: RecordedContent) -> Section:
    """How good the records are; the cautions stand in the summary."""
    return Section("accuracy", "Data accuracy", (completeness(recorded.history), *findings_and_model(recorded)))


def rates(recorded: RecordedContent) -> Section:
    """Fault rates and temporary fractions learned from the records."""
    learned, network = recorded.history.learned, recorded.history.records.network
    units = with_names(network, learned.units.sort_values("rate_per_km", ascending=False, kind="stable",
                                                          ignore_index=True), "unit")
    # a group of which nothing could be learned has no means
    priors = learned.priors.reindex(columns=["units", "faults", "exposure_km_years", "mean_per_km", "mean_fraction"])
    return Section("rates", "Fault rates learned", (
        Bullets(tuple((n,) for n in learned.notes)), charts.learned_rates(recorded.history),
        Table("groups", "Groups from which a unit with few faults borrows", (
            Column("group", "Group"), Column("units", "Units", "count"), Column("faults", "Faults", "count"),
            Column("exposure_km_years", "Exposure", "amount", "km·yr"),
            Column("mean_per_km", "Mean rate", "index", "1/(km·yr)"),
            Column("mean_fraction", "Mean temporary fraction", "share")),
            priors.rename_axis("group").reset_index(), file=ALL_FILE),
        Table("rates", "Laterals and mains, the highest learned rate first", (
            *place_columns(network, units, "unit", "Lateral or main"), Column("group", "Group"),
            Column("faults", "Faults", "count"), Column("exposure_km_years", "Exposure", "amount", "km·yr"),
            Column("observed_rate_per_km", "Recorded rate", "index", "1/(km·yr)"),
            Column("rate_per_km", "Learned rate", "index", "1/(km·yr)"),
            Column("rate_low", "90 % interval", "index", high="rate_high"),
            Column("temporary_fraction", "Temporary fraction", "share")),
            units, shown=MOST_UNITS_LISTED, note=LEARNED_INTERVALS, file=RATES_FILE)))


def device_fit(recorded: RecordedContent) -> Section:
    """Whether what reclosing devices recorded fits all else."""
    title, network = "Do the devices' records fit?", recorded.history.records.network
    table = with_names(network, device_fit_frame(recorded.history), "section_id")
    if not len(table):
        return Section("device-fit", title, (Text(say("No momentary event or counter reading is recorded at a "
                                                      "reclosing device.")),))
    return Section("device-fit", title, (
        Text(say("For each reclosing device, the faults it rode through are predicted from the sustained records "
                 "behind it and from all other devices. Recorded are those of its openings that no sustained record "
                 "explains, so that the number need not be whole. A device does not fit, and is left out of the "
                 "learned rates, where chance would bring it so far from its prediction with a probability under {p}; "
                 "of many devices some are outside of their interval by chance.",
                 p=Figure(STANDS_OUT, "share_of_three_digits"))),
        charts.device_fit(recorded.history),
        Table("device-fit", "Faults that reclosing devices rode through", (
            *place_columns(network, table, "section_id", "Device"), Column("what", "Records"),
            Column("recorded", "Recorded", "amount"),
            Column("predicted", "Predicted", "amount"), Column("low", "90 % interval", "amount", high="high"),
            Column("verdict", "Verdict")), table, shown=MOST_UNITS_LISTED)))


def times(recorded: RecordedContent) -> Section:
    """Times to restore by kind of call-out."""
    title, frame = "Times to restore", recorded.history.times
    if not len(frame):
        return Section("times", title, (Text(say("Too few events are recorded to fit a distribution of times.")),))
    names = frame.rename_axis("kind").reset_index().replace({"kind": SPOKEN_KINDS})
    return Section("times", title, (charts.restoration_times(recorded.history), Table(
        "times", "Time from start to last restoration of an event, by kind of call-out", (
            Column("kind", "Kind"), Column("events", "Events", "count"), Column("mean_hours", "Mean", "hours", "h"),
            Column("mean_low", "90 % interval", "hours", "h", high="mean_high"),
            Column("cv", "Coefficient of variation", "ratio"),
            Column("cv_low", "90 % interval", "ratio", high="cv_high")), names.assign(
                events=names["events"].astype(float)),
        note="A lognormal distribution fitted to events longer than five minutes, that cut-off allowed for.")))


def reproducibility(recorded: RecordedContent) -> Section:
    """What to run to get the same figures again."""
    study = recorded.study
    frame = pd.DataFrame([("Study", study.name), ("Program version", __version__),
                          ("SHA-256 of the inputs", study.inputs_sha256 or "not computed"),
                          ("Command", "python -m reliability history STUDY --out DIR")], columns=["what", "value"])
    return Section("reproducibility", "Reproducibility", (
        words("The same inputs and version give the same digits. Indices after IEEE Std 1366."),
        Table("reproducibility", "Reproduce this run", (Column("what", "What"), Column("value", "Value")),
              frame)))
