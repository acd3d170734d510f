"""How many of the laterals chosen can be installed as they stand, and which wait for their application checks."""

from __future__ import annotations

import numpy as np
import pandas as pd
import streamlit as st

from reliability.business.chosen_checks import checks_of_selection
from reliability.formats import shown
from reliability.report.work_pack_jobs import HOLD_MARK, NO_SHEET, READY, work_pack
from reliability.what_if import ScenarioResults

STATUS = {READY: "ready", HOLD_MARK: "on hold", NO_SHEET: "no checks"}


def statuses(now: ScenarioResults, selection: pd.DataFrame) -> np.ndarray:
    """Status of each row of a selection, text: as in the work pack, "" of a breaker or recloser that is set again.

    A sectionalizer is ready where its checks pass with the settings chosen, else on hold; the checks are for no other
    device. The last one stays in the session.
    """
    stored = st.session_state.get("readiness")
    if stored is None or stored[0] != now.digest or stored[1] is not selection:
        jobs = work_pack(checks_of_selection(now.results.study.model, selection), selection).jobs
        of_lateral = jobs.set_index("lateral_id")["status"].map(STATUS)
        found = selection["section_id"].astype(str).map(of_lateral).where(selection["what"] == "lateral").fillna("")
        stored = st.session_state["readiness"] = (now.digest, selection, found.to_numpy(dtype=object))
    return np.asarray(stored[2])


def carried_out(now: ScenarioResults, at: int | None) -> pd.DataFrame:
    """Rows of the choice that what is proposed carries out in this state: fewer where a share of it is looked at."""
    chosen = now.decision.choice.selection
    laterals = None if at is None else now.results.study.scenarios[at].laterals
    if laterals is None:
        return chosen
    done = (chosen["what"] != "lateral") | chosen["section_id"].astype(str).isin(list(laterals))
    return chosen if done.all() else chosen[done].reset_index(drop=True)


def numbers(status: np.ndarray) -> tuple[int, int]:
    """How many laterals are ready and how many on hold. status: of `statuses`."""
    return int((status == STATUS[READY]).sum()), int((status == STATUS[HOLD_MARK]).sum())


def in_words(now: ScenarioResults, selection: pd.DataFrame) -> str:
    """The same as "123 ready, 28 on hold"; "" where no sectionalizer is among them."""
    status = statuses(now, selection)
    ready, held = numbers(status)
    if not ready and not held:
        return ""
    of = "of the sectionalizers " if (status == STATUS[NO_SHEET]).any() else ""
    return f"{of}{shown(ready, 'count')} {STATUS[READY]}, {shown(held, 'count')} {STATUS[HOLD_MARK]}"


def with_status(now: ScenarioResults, selection: pd.DataFrame) -> pd.DataFrame:
    """A selection with the status of each row in its first column."""
    return pd.concat([pd.Series(statuses(now, selection), selection.index, name="status"), selection], axis=1)
