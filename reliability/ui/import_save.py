"""The last step of an import: what would be saved, why it cannot be yet, and the new study."""

from __future__ import annotations

import streamlit as st

from reliability.formats import count
from reliability.import_questions import answered
from reliability.intake import Imported, Prepared
from reliability.report.import_report import report_files
from reliability.study import StudyError, workspace
from reliability.ui import import_draft
from reliability.ui.import_answers import chosen_answers, opened_study
from reliability.ui.import_blank import open_new
from reliability.ui.import_draft import Draft
from reliability.ui.import_report_panel import BADGES, study_of
from reliability.ui.problem_table import show_problems
from reliability.ui.text import plain


def save_step(draft: Draft, prepared: Prepared) -> None:
    """Ask for the name of the new study and save it."""
    imported = study_of(draft, prepared)
    study = None if imported is None else opened_study(draft, imported)
    problem = isinstance(study, StudyError)
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    title = left.text_input("Name of the new study", str(draft.plan.get("title", "My study")), key="new_name",
                            max_chars=80, on_change=lambda: draft.decide(title=st.session_state["new_name"]))
    folder = workspace.free_name(title)
    pressed = right.button("Save and open", type="primary", key="save_import", icon=":material/save:",
                           disabled=imported is None or problem or not title.strip())
    if imported is None:
        st.caption("Save is off as long as anything is open.")
        return
    if isinstance(study, StudyError):
        st.error("Not to be saved: the study would have problems.")
        show_problems(study.problems, "import_study_problems")
        return
    if study is not None:
        _summary(imported, folder, [plain(n, 300) for n in study.notes])
    final = answered(imported, chosen_answers(draft, imported), study)
    st.download_button("The recipe so far, with the answers, import.toml", final.recipe.text, "import.toml",
                       on_click="ignore", icon=":material/download:", key="recipe_download", type="tertiary")
    if pressed:
        files = {**final.files, **report_files(final, title)}
        import_draft.forget(draft)
        open_new(title, files, "Saved as a new study. The report of the import lies beside it: import_report.html.")


def _summary(imported: Imported, folder: str, notes: list[str]) -> None:
    whole = imported.report.totals.iloc[-1]
    st.markdown(f"{BADGES[imported.report.state]} {count(int(whole['sections']), 'section')}, "
                f"{count(int(whole['customers']), 'customer')}, "
                f"{count(len(imported.report.totals) - 1, 'feeder')}, into the new folder `{folder}`. No study that is "
                "there is changed.")
    for note in notes:
        st.caption(note)
