"""The crews' work pack: for each lateral of a chosen set one row, and one sheet to print and fill in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from reliability.cautions import CAUTION
from reliability.cells import write_csv
from reliability.formats import missing, number, shown
from reliability.network.application import ApplicationChecks, application_frame, check_laterals
from reliability.network.application_catalogue import PASS, VERDICTS
from reliability.network.model import Model
from reliability.network.place_names import field_columns
from reliability.network.rates import fault_currents_a
from reliability.network.tree import NO_DEVICE
from reliability.report import palette
from reliability.report.charts_map import lateral_map
from reliability.report.picture import svg
from reliability.schema.assumptions import PRACTICE
from reliability.schema.devices import DEVICES, SECTIONALIZER
from reliability.schema.problems import shorten
from reliability.schema.scenarios import Scenario
from reliability.schema.values import Assumptions
from reliability.study.plan_view import PlanView

TEMPLATE = "work_pack.html.j2"
CAUTIONS = (
    CAUTION,
    "Rating, counts and actuating current are verified against the time-current curves and data sheets of the devices "
    "before anything is installed. What the study does not know is left blank and is found out on site.",
    "The instructions that come with the device go before this sheet.",
)


MAKERS_SHEET = "see the maker's sheet"   # where the study leaves a limit of [inspection] blank
NEWTON_METRES = 1.3558                   # in one ft·lbf

Words = Callable[[Assumptions], str]


@dataclass(frozen=True)
class Step:
    """One thing to do on site: `column` is its field in the CSV, `limit` what is accepted.

    A text or limit that depends on the study is a function of its assumptions.
    """

    column: str
    text: str | Words
    limit: str | Words
    source: str = PRACTICE

    def printed(self, values: Assumptions) -> dict[str, str]:
        """Text, limit and source as they stand on the sheet."""
        text, limit = (words if isinstance(words, str) else words(values) for words in (self.text, self.limit))
        return {"text": text, "limit": limit, "source": self.source}


def _resistance(which: str) -> Words:
    def text(values: Assumptions) -> str:
        current = values["meter_ma"]
        meter = "meter of at most " + _number(current, "mA") if current is not None else f"meter: {MAKERS_SHEET}"
        return f"Resistance between {which} actuator's leads, {meter}"
    return text


def _ohms(values: Assumptions) -> str:
    low, high = (None if (limit := values[key]) is None else _number(limit, "Ω")
                 for key in ("actuator_ohm_low", "actuator_ohm_high"))
    if low and high:
        return f"{low} to {high}"
    return f"at least {low}" if low else f"at most {high}" if high else MAKERS_SHEET


def _megohms(values: Assumptions) -> str:
    least = values["leads_to_body_megohm"]
    return MAKERS_SHEET if least is None else f"more than {_number(least, 'MΩ')}"


def _torque(values: Assumptions) -> str:
    torque = values["nut_torque_ft_lbf"]
    if torque is None:
        return MAKERS_SHEET
    return f"about {_number(torque, 'ft·lbf')} ({number(NEWTON_METRES * torque, 2)} N·m)"


BEFORE_SERVICE = (
    Step("nameplate_agrees", "Rating, counts and actuating current of the unit agree with this sheet", "agree"),
    Step("actuator_ohm", _resistance("the"), _ohms),
    Step("leads_to_body_megohm", "Insulation from the joined leads to the actuator's body", _megohms),
    Step("nut_torque", "Terminal nuts tightened", _torque),
    Step("contacts_clean", "Contacts clean", "yes"),
    Step("porcelain_sound", "Porcelain without cracks; replaced where cracked", "yes"),
    Step("actuator_finger_tight", "Actuator seated", "finger tight"),
)
AFTER_OPERATION = (
    Step("cause_cleared", "Lateral patrolled, cause found and cleared", "yes"),
    Step("actuator_replaced", "Spent actuator replaced by a new one", "finger tight"),
    Step("new_actuator_ohm", _resistance("the new"), _ohms),
    Step("new_leads_to_body_megohm", "Insulation from the joined leads to the new actuator's body", _megohms),
    Step("contacts_clean_after", "Contacts cleaned", "yes"),
    Step("porcelain_sound_after", "Porcelain without cracks; replaced where cracked", "yes"),
    Step("nut_torque_after", "Terminal nuts tightened", _torque),
)
# settings of the backup: column of the row, label, unit
BACKUP = (
    ("operations_to_lockout", "Operations to lockout", ""),
    ("fast_operations", "Fast operations", ""),
    ("minimum_trip_a", "Minimum trip", "A"),
    ("dead_time_s", "Shortest dead time", "s"),
    ("longest_dead_time_s", "Longest dead time", "s"),
)
TO_FILL_IN = (*(f"found_{column}" for column, _, _ in BACKUP), *(step.column for step in BEFORE_SERVICE),
              *(step.column for step in AFTER_OPERATION), "checked_by", "checked_on")


def checks_of_selection(model: Model,
                        selection: pd.DataFrame) -> tuple[ApplicationChecks, list[str]]:
    """The laterals that a choice converts to sectionalizers, checked with the settings chosen for each.

    selection: see `selection.selection_frame`. Returns the checks of all laterals, and the ids of those chosen.
    """
    network = model.network
    chosen = selection[selection["device"] == SECTIONALIZER]
    ids = chosen["section_id"].astype(str).tolist()
    at = pd.Index(network.ids[network.candidates].astype(str)).get_indexer(ids)
    counts, fast = np.full((2, len(network.candidates)), np.nan)
    counts[at], fast[at] = chosen["counts"], chosen["fast_operations_of_backup"]
    checks = check_laterals(model, Scenario("The laterals chosen", None, SECTIONALIZER), counts, fast)
    return checks, ids


def work_pack_rows(checks: ApplicationChecks, lateral_ids: Sequence[str] | None = None) -> pd.DataFrame:
    """A row a lateral in the order of `lateral_ids` (None: all of them), with blank fields to fill in.

    The caution comes first, then the lateral, the units and settings proposed, the backup's
    settings to verify. NaN where the study does not know. KeyError names ids that are no laterals.
    """
    network, settings = checks.network, checks.proposal
    head, backup = settings.head, np.maximum(settings.backup, 0)
    has_backup = settings.backup >= 0
    checked = application_frame(checks)
    rows = pd.DataFrame({
        "caution": CAUTIONS[0],
        "lateral_id": checked["lateral_id"],
        "feeder_id": network.feeder_ids[network.feeder[head]].astype(str),
        **field_columns(network.text, head),
        "customers": network.customers_below[head].round().astype(np.int64),
        "existing_device": _device_names(network.device[head]),
        "existing_fuse_link": network.text["fuse_link"][head],
        "verdict": checked["verdict"],
        "not_passed": checked["not_passed"],
        "units": network.phases[head].astype(np.int64),
        "rated_current_a": settings.rated_a,
        "counts": checked["counts"],
        "counts_in_scenario": checked["counts_in_model"],
        "actuating_current_a": settings.actuating_a,
        "unseen_share": checks.unseen_share,
        "peak_load_a": network.column["peak_load_a"][head],
        "fault_current_source_a": fault_currents_a(Model(network, checks.values))[0][head],
        "smallest_fault_current_a": checks.check("sees_faults").value,
        "backup_id": np.where(has_backup, network.ids[backup].astype(str), ""),
        **{f"backup_{name}": np.where(has_backup, values, "")
           for name, values in field_columns(network.text, backup).items()},
        "backup_device": np.where(has_backup, _device_names(network.device[backup]), ""),
        "operations_to_lockout": pd.array(settings.lockout, dtype="Int64"),
        "fast_operations": pd.array(settings.fast, dtype="Int64"),
        "minimum_trip_a": settings.minimum_trip_a,
        "dead_time_s": settings.dead_time_s,
        "longest_dead_time_s": settings.longest_dead_time_s,
        **dict.fromkeys(TO_FILL_IN, ""),
    })
    return rows.iloc[_places(checks, lateral_ids)].reset_index(drop=True)


def write_work_pack(folder: str | Path, checks: ApplicationChecks, lateral_ids: Sequence[str] | None = None,
                    study_name: str = "", view: PlanView | None = None, miles: bool = False) -> tuple[Path, Path]:
    """Write work_pack.csv and work_pack.html into a folder that exists; returns the two paths.

    view, miles: see `work_pack_html`.
    """
    csv, page = Path(folder) / "work_pack.csv", Path(folder) / "work_pack.html"
    write_csv(work_pack_rows(checks, lateral_ids), csv)
    page.write_text(work_pack_html(checks, lateral_ids, study_name, view, miles), encoding="utf-8")
    return csv, page


def work_pack_html(checks: ApplicationChecks, lateral_ids: Sequence[str] | None = None, study_name: str = "",
                   view: PlanView | None = None, miles: bool = False) -> str:
    """One self-contained HTML page that prints one sheet a lateral, each headed by the cautions.

    view: the network in plan, for a map on each sheet; None where the study has no routes. miles: its scale.
    """
    places = _places(checks, lateral_ids)
    rows = [row | _names(checks, at) for row, at in
            zip(work_pack_rows(checks, lateral_ids).to_dict("records"), places, strict=True)]
    points = [_open_points(checks, at) for at in places]
    maps = [_map(checks, at, view, miles) for at in places]
    environment = Environment(loader=FileSystemLoader(Path(__file__).parent), autoescape=True,
                              undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    environment.filters |= {"number": _number, "short": lambda text: shorten(text, 48)}
    return environment.get_template(TEMPLATE).render(
        colours=palette.css(), study_name=study_name, scenario_name=checks.scenario.name, cautions=CAUTIONS,
        practice=PRACTICE, sheets=list(zip(rows, points, maps, strict=True)), backup=BACKUP,
        before=[step.printed(checks.values) for step in BEFORE_SERVICE],
        after=[step.printed(checks.values) for step in AFTER_OPERATION])


def _names(checks: ApplicationChecks, at: int) -> dict[str, str]:
    """What people call lateral number `at` and its backup, and where both stand."""
    network, head, backup = checks.network, int(checks.proposal.head[at]), int(checks.proposal.backup[at])
    location = network.text["location"]
    return {"name": str(network.names[head]), "where": str(location[head]),
            "backup_name": str(network.names[backup]) if backup >= 0 else "",
            "backup_where": str(location[backup]) if backup >= 0 else ""}


def _map(checks: ApplicationChecks, at: int, view: PlanView | None, miles: bool) -> tuple[Markup, str] | None:
    """The map of lateral number `at` and its backup, and what it says in words; None where nothing is known of it."""
    head, backup = int(checks.proposal.head[at]), int(checks.proposal.backup[at])
    chart = None if view is None else lateral_map(checks.network, view, head, backup, key=f"map-{at}", miles=miles)
    return None if chart is None else (Markup(svg(chart)), chart.description)  # noqa: S704 - svg() escapes


def _open_points(checks: ApplicationChecks, at: int) -> list[tuple[str, str]]:
    """(verdict, labels) of the device's checks that lateral number `at` does not pass, the gravest first."""
    by_verdict: dict[int, list[str]] = {}
    for check in checks.checks:
        if check.kind.decides and check.verdict[at] != PASS:
            by_verdict.setdefault(int(check.verdict[at]), []).append(check.kind.label.lower())
    return [(VERDICTS[verdict], "; ".join(labels)) for verdict, labels in sorted(by_verdict.items(), reverse=True)]


def _places(checks: ApplicationChecks, lateral_ids: Sequence[str] | None) -> np.ndarray:
    if lateral_ids is None:
        return np.arange(len(checks))
    at = pd.Index(checks.lateral_ids).get_indexer(pd.Index(list(lateral_ids), dtype=object))
    if (at < 0).any():
        unknown = [str(name) for name, place in zip(lateral_ids, at, strict=True) if place < 0]
        raise KeyError(f"no lateral is headed by {', '.join(unknown[:10])}")
    return at


def _device_names(codes: np.ndarray) -> np.ndarray:
    return np.array([*DEVICES, ""], dtype=object)[np.where(codes == NO_DEVICE, len(DEVICES), codes)]


def _number(value: object, unit: str = "") -> str:
    """A number with its unit for a sheet; empty where unknown."""
    if missing(value):
        return ""
    return f"{shown(value, 'any')} {unit}".strip()
