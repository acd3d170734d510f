"""Tables of study.toml whose keys or entries are the user's own."""

from __future__ import annotations

# Tables inside a table whose keys are the user's own (causes, years, section ids); they reach `Study.extra`.
FREE_TABLES: dict[str, dict[str, str]] = {
    "choice": {
        "laterals": 'laterals that the selection must convert, "in", or must not, "out": "tap-01" = "in"',
    },
    "history": {
        "causes": 'your causes, each "temporary" or "permanent": "Tree contact" = "temporary"',
        "customers_served": "customers served in a year: 2024 = 1500",
        "conversions": 'the day each section at the head of a lateral was converted: "tap-01" = 2024-05-01, or with '
                       'what stood there, { day = 2024-05-01, device = "fuse", fuse_link = "40T" }',
        "earlier_settings": 'fast operations of a reclosing device until they were changed: '
                            '"REC-1" = { until = 2022-05-01, fast_operations = 2 }',
    },
}
OF_TABLES = ("conversions", "earlier_settings")  # free tables whose values may be tables again
# Lists of tables inside a table; each entry is written under [[table.name]].
LISTS: dict[str, dict[str, str]] = {"report": {
    "plans": 'a plan of an earlier report: name = "…", year = 2022, promised = "…", done = "…", cost = 31000, and '
             'laterals = ["tap-01"], or "all", of history.conversions, whose verification stands beside it'}}
