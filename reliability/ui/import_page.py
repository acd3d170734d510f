"""Page: a study out of exports or of tables that are a study's own, or a blank one to start from."""

from __future__ import annotations

import streamlit as st

from reliability.formats import count
from reliability.study import StudyError, uploads
from reliability.ui import frame, import_draft, import_steps
from reliability.ui.import_blank import blank
from reliability.ui.import_draft import Draft
from reliability.ui.import_kinds import is_own, kinds_guide
from reliability.ui.import_own import own_tables
from reliability.ui.opened import Opened
from reliability.ui.problem_table import show_problems
from reliability.ui.text import plain

# Those of tables and layers, with all parts of a shapefile.
TYPES = ("csv", "txt", "tsv", "xlsx", "geojson", "json", "gpkg", "zip", "toml", "shp", "shx", "dbf", "prj", "cpg",
         "sbn", "sbx", "qix", "xml", "qpj")


def show() -> None:
    """Draw the page."""
    shown = frame.begin("Import")
    mine, new = st.tabs(["Your files", "Start from a blank study"], key="import_tab", on_change="rerun")
    if mine.open:
        with mine:
            _files(shown)
    if new.open:
        with new:
            blank()


def _files(shown: Opened) -> None:
    before = import_draft.current()
    place = st.expander(f"Add or remove files ({len(before.files)} so far)") if before else st.container()
    with place:
        brought = st.file_uploader(
            "Exports: segments, devices, customers, sources, outages. CSV, XLSX, GeoJSON, GeoPackage, zipped "
            "shapefile; import.toml and study.toml if there are any",
            key="upload", accept_multiple_files=True)
        stay, replaced = import_draft.newest((f.name, f.getvalue()) for f in brought if _readable(f.name))
        import_draft.take(uploads.named(stay))
        draft = import_draft.current()
        if draft is not None and before is not None and draft.token == before.token:
            _keep(draft)
    if draft is None:
        _tell([], [f.name for f in brought if not _readable(f.name)])
        st.markdown("Headers and words may be your own: they are recognized and shown in the next steps. Nothing is "
                    "saved before you say so.")
        kinds_guide()
        return
    if before is None or draft.token != before.token:
        st.rerun()
    _tell(replaced, [f.name for f in brought if not _readable(f.name)])
    if is_own(draft):
        own_tables(shown, draft)
        return
    try:
        prepared = import_draft.prepared_of(draft)
    except StudyError as error:
        st.error(f"{count(error.count, 'problem')} in the files. Remove or replace them under Add or remove files.")
        show_problems(error.problems, "import_unreadable")
        return
    import_steps.steps(draft, prepared)


def _readable(name: str) -> bool:
    return name.rpartition(".")[2].casefold() in TYPES


def _tell(replaced: list[str], left: list[str]) -> None:
    """What became of files that are not among those read."""
    for name in replaced:
        st.info(f"{plain(name)} was brought again: it takes the place of the one before.")
    if left:
        st.warning(f"Not read, as no export is of such a type: {plain(', '.join(left), 300)}. Export tables as CSV or "
                   "XLSX, and geometry as GeoPackage, GeoJSON or a shapefile.", icon=":material/help:")


def _keep(draft: Draft) -> None:
    left, right = st.columns([4, 1], vertical_alignment="bottom")
    names = left.multiselect("Files of this import", draft.files, default=draft.files, key=f"keep_{draft.token}")
    if len(names) < len(draft.files):
        import_draft.keep(draft, names)
        st.rerun()
    if right.button("Start over", key="start_over", help="Forgets the files and every decision about them."):
        import_draft.forget(draft)
        st.rerun()


if __name__ == "__main__":
    show()
