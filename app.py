"""The web app's start: who may ask, the address of the tab, and the pages registered.

Start it with: streamlit run app.py
"""

from pathlib import Path

import streamlit as st
from starlette.middleware import Middleware

from reliability.ui import ahead, background, request_check, state, warm

ICON = Path(__file__).parent / "reliability" / "ui" / "icon.png"   # a named symbol would be fetched from another host
PAGES = (
    ("overview_page", "Overview", "first", ":material/flag:"),
    ("import_page", "Import", "import", ":material/upload_file:"),
    ("study_page", "Study data", "study", ":material/table:"),
    ("history_page", "Outage history", "history", ":material/history:"),
    ("laterals_page", "Laterals", "laterals", ":material/account_tree:"),
    ("choice_page", "Selection", "choice", ":material/checklist:"),
    ("compare_page", "Compare", "compare", ":material/balance:"),
    ("business_page", "Business case", "business", ":material/payments:"),
    ("report_page", "Report", "report", ":material/description:"),
    ("method_page", "Method", "method", ":material/menu_book:"),
)


def first_page() -> None:
    """The first page stands at the bare address; one that names it goes there, with all that it asks for."""
    state.go("reliability/ui/overview_page.py")


def main() -> None:
    """Register the pages and show the one that is asked for."""
    st.set_page_config(page_title="Lateral reliability planning", layout="wide", page_icon=str(ICON))
    state.follow()
    pages = [st.Page(f"reliability/ui/{module}.py", title=title, url_path=path, icon=icon,
                     default=module == "overview_page") for module, title, path, icon in PAGES]
    named = st.Page(first_page, title="Overview", url_path="overview", visibility="hidden")
    page = st.navigation([*pages, named], position="top")
    warm.wait()
    with background.page_runs():
        page.run()


if __name__ == "__main__":     # for each run of a page
    main()
elif __name__ == "app":        # once, by the server; worker processes import this file too, under another name
    request_check.ask_nobody()
    warm.begin()
    app = st.App(__file__, middleware=[Middleware(request_check.RequestCheck), Middleware(ahead.OpenAhead)])
