"""The work pack of a run: what is proposed, with the years of its programme."""

from __future__ import annotations

from reliability.history.reporting import first_year
from reliability.report.work_pack_jobs import WorkPack, work_pack
from reliability.report.work_pack_rows import revision_of
from reliability.results import Results


def work_pack_of(results: Results) -> WorkPack:
    """The work of what is proposed; none without a plan."""
    study, plan = results.study, results.plan
    if plan is None:
        return work_pack(results.checks, None, study_name=study.name)
    selection, at = plan.choice.selection, results.proposed
    more = 0.0 if at is None else float((results.expected[at].fault_actuators
                                         - results.expected[0].fault_actuators).sum())
    return work_pack(results.chosen_checks, selection, plan.programme, study_name=study.name,
                     view=results.plan_view, miles=study.in_miles, actuators_per_year=more if more > 0.0 else None,
                     first_year=first_year(study.values, results.history.records if results.history else None))


def work_pack_revision(pack: WorkPack) -> str | None:
    """Revision of a pack, for the report to quote; None where there is no work."""
    return revision_of(pack) if len(pack.jobs) or len(pack.resets) else None
