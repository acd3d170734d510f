"""What the report is made of: the content of summary.json, the tables beside it, and parts that may be missing.

The report computes nothing again. Its figures are those of the files that a run writes, and a
part that a run did not bring is named where it would stand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from reliability.business.cashflow import cashflow_frame
from reliability.faults.coordination_view import feeders_frame, growth_frame, splits_by_factor
from reliability.faults.coordination_view import laterals_frame as laterals_by_outcome
from reliability.history.history import History
from reliability.network.application import ApplicationChecks
from reliability.network.coordination import coordination
from reliability.network.coordination_curves import LateralCurves, lateral_curves
from reliability.pipeline import Results
from reliability.report.figures import Figure, Name, figure, pointer, resolve
from reliability.report.quantities import Quantities, quantities
from reliability.report.status_totals import verdicts_of
from reliability.report.summary import sections_frame, summary
from reliability.report.work_pack_jobs import WorkPack
from reliability.schema.scenarios import PROPOSED
from reliability.study.plan_view import PlanView
from reliability.study.study import Study

MOST_CURVES = 6        # pictures of coordination in a report; our choice


@dataclass(frozen=True)
class Case:
    """The business case under one perspective: "business" of summary.json by scenario, and cashflow.csv."""

    summaries: Sequence[Mapping[str, Any]]
    cashflow: pd.DataFrame


@dataclass(frozen=True)
class Selected:
    """The choice of laterals: selection.csv, its totals and sentence; frontier.csv, programme.csv and its sentence.

    verdicts: of the application checks by section_id, of each lateral that gets a sectionalizer, as it is set there.
    """

    frame: pd.DataFrame
    totals: Mapping[str, float]
    message: str
    feasible: bool = True
    frontier: pd.DataFrame | None = None
    programme: pd.DataFrame | None = None
    programme_message: str = ""
    verdicts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Coordinated:
    """Fuses and reclosing devices as built: `laterals_frame`, `feeders_frame`, and `growth_frame` of all laterals.

    curves: of the laterals chosen, the first MOST_CURVES of them.
    """

    laterals: pd.DataFrame
    feeders: pd.DataFrame
    growth: pd.DataFrame
    curves: tuple[LateralCurves, ...]


@dataclass(frozen=True)
class Content:
    """Everything the report shows.

    summary: content of summary.json. sections,
    laterals: the frames of sections.csv and laterals.csv. cases: by perspective, the study's
    own among them. command: what to type to get the same figures again. view: the network in plan.
    quantities: by scenario.
    """

    study: Study
    summary: Mapping[str, Any]
    sections: pd.DataFrame
    laterals: pd.DataFrame
    command: str = ""
    history: History | None = None
    application: ApplicationChecks | None = None
    cases: Mapping[str, Case] = field(default_factory=dict)
    selected: Selected | None = None
    drivers: pd.DataFrame | None = None
    coordination: Coordinated | None = None
    view: PlanView | None = None
    quantities: Sequence[Quantities] = ()

    @property
    def scenarios(self) -> list[str]:
        """Names of the scenarios, "As built" first."""
        return [str(s["name"]) for s in self.summary["scenarios"]]

    @property
    def proposed(self) -> int | None:
        """Position of what is proposed, None where nothing is."""
        return next((i for i, name in enumerate(self.scenarios) if name.casefold() == PROPOSED.casefold()), None)

    @property
    def order(self) -> list[int]:
        """Positions of the scenarios as they are shown: "As built", what is proposed, then the alternatives, but for
        those `without_effect`.
        """
        first = [i for i in (0, self.proposed) if i is not None]
        return [*first, *(i for i in range(len(self.scenarios)) if i not in first and i not in self.without_effect)]

    @property
    def without_effect(self) -> list[int]:
        """Positions of scenarios that cost nothing and change no expected figure: documents name them once."""
        base = self.at("scenarios", 0, "expected")
        return [i for i in range(1, len(self.scenarios)) if i != self.proposed
                and self.at("scenarios", i, "expected") == base and self.at("scenarios", i, "business", "capex") == 0]

    @property
    def alternatives(self) -> list[int]:
        """Positions of the scenarios that are neither "As built" nor proposed, nor named as the proposal."""
        named = str(self.study.values["proposed"] or "").casefold()
        return [i for i in self.order[1:] if i != self.proposed and self.scenarios[i].casefold() != named]

    @property
    def currency(self) -> str:
        """Currency of all money."""
        return str(self.summary.get("currency") or self.study.currency)

    @property
    def simulated(self) -> bool:
        """Whether the study was simulated."""
        return self.summary.get("trials") is not None

    @property
    def business(self) -> bool:
        """Whether summary.json holds a business case."""
        return all(self.at("scenarios", i, "business") for i in range(len(self.scenarios)))

    def at(self, *keys: object) -> Any:
        """What stands in summary.json under these keys, None where nothing does."""
        return resolve(self.summary, pointer(*keys))

    def figure(self, kind: str, *keys: object, signed: bool = False) -> Figure:
        """The number in summary.json under these keys."""
        return figure(self.summary, pointer(*keys), kind, signed)


@dataclass(frozen=True)
class RecordedContent:
    """What the history's document shows: the records of a study; see `Content` for a run's."""

    study: Study
    history: History


def leading(content: Content) -> int | None:
    """The scenario that charts and cash flows show first: what is proposed, else the best that installs something.

    The first of those where no business case was computed; None where none installs anything.
    """
    if content.proposed is not None:
        return content.proposed
    installing = [i for i in range(1, len(content.scenarios)) if installs(content, i)]
    if content.business and installing:
        return max(installing, key=lambda i: (content.figure("money", "scenarios", i, "business", "npv").value
                                              or float("-inf")))
    return installing[0] if installing else None


def named(content: Content, scenario: int) -> str | Name:
    """What a sentence calls a scenario, at its beginning."""
    return "The proposal" if scenario == content.proposed else Name(content.scenarios[scenario])


def within(content: Content, scenario: int) -> str | Name:
    """The same inside a sentence."""
    return "the proposal" if scenario == content.proposed else Name(content.scenarios[scenario])


def installs(content: Content, scenario: int) -> bool:
    """Whether a scenario puts new devices in, rather than changing settings only."""
    units = content.at("scenarios", scenario, "business", "units")
    if units is not None:
        return float(units) > 0
    known = {s.name: s.device for s in content.study.scenarios}
    return known.get(content.scenarios[scenario]) is not None


def zero_capital_alternatives(content: Content) -> list[int]:
    """Scenarios that cost no device: settings of breakers and reclosers only."""
    return [i for i in content.alternatives if not installs(content, i)]


def proposed_conversions(content: Content) -> pd.DataFrame | None:
    """The laterals chosen by the selection, a row each; None where nothing was selected."""
    if content.selected is None or not content.selected.feasible:
        return None
    frame = content.selected.frame
    return frame[frame["what"] == "lateral"] if "what" in frame else frame


def planned_conversions(content: Content) -> pd.DataFrame | None:
    """As `proposed_conversions`, with the year that the programme gives each, NaN for none; without where it gives
    none to any."""
    chosen = proposed_conversions(content)
    if chosen is None or content.selected is None or content.selected.programme is None:
        return chosen
    planned = content.selected.programme
    years = planned[planned["what"] == "lateral"].drop_duplicates("section_id").set_index("section_id")["year"]
    return chosen.assign(year=chosen["section_id"].map(years).astype(float)) if len(years) else chosen


def content_of(results: Results, pack: WorkPack | None = None) -> Content:
    """What the report shows of the results of a run; pack: their work pack, where it is there."""
    document = summary(results, pack)
    cases = {view: Case([s["business"][view] for s in document["scenarios"]], cashflow_frame(business))
             for view, business in results.perspectives.items()}
    return Content(results.study, document, sections_frame(results),
                   results.laterals, _command(results), results.history,
                   results.checks_as_proposed, cases, _selected(results),
                   results.plan.drivers if results.plan else None,
                   _coordinated(results), results.plan_view, quantities(results))


def _coordinated(results: Results) -> Coordinated:
    """As built, with the actuating currents that the sectionalizers proposed would have."""
    network, model, found = results.network, results.study.model, results.table.protections[0]
    splits = splits_by_factor(model, found)
    split, races = splits[float(model.values["fault_current_factor"])], coordination(model, (found,))
    proposal = results.checks_as_proposed.proposal
    proposed = dict(zip(proposal.head.tolist(), proposal.actuating_a.tolist(), strict=True))
    curves = tuple(lateral_curves(model, found, races, head, proposed.get(head, float("nan")))
                   for head in _first_chosen(results))
    return Coordinated(laterals_by_outcome(network, found, split), feeders_frame(network, split),
                       growth_frame(splits, network.unit >= 0), curves)


def _first_chosen(results: Results) -> list[int]:
    """Positions of the first laterals chosen, best first."""
    if results.plan is None or not results.plan.choice.feasible:
        return []
    chosen = results.plan.choice.selection
    place = {str(name): i for i, name in enumerate(results.network.ids)}
    return [place[str(name)] for name in chosen.loc[chosen["what"] == "lateral", "section_id"].head(MOST_CURVES)]


def _selected(results: Results) -> Selected | None:
    plan = results.plan
    if plan is None:
        return None
    choice = plan.choice
    return Selected(choice.selection, choice.totals, choice.message, choice.feasible, plan.frontier, plan.programme,
                    plan.programme_note, verdicts_of(results))


def _command(results: Results) -> str:
    """What to type; where the study's folder stands is nobody else's business."""
    run = results.simulated
    more = f" --trials {run.trials} --seed {run.seed}" if run else ""
    return f"python -m reliability run STUDY --out DIR{more}"
