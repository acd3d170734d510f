"""Workbooks (.xlsx) read in a process of their own, which `study/workbook.py` starts.

Knows the parts of a workbook, and what a table must not lose: errors, formulas without a value, merged cells, numbers
that a format shows otherwise. A workbook can make its reader ask for any amount of memory, which ends the process that
asks; so that process is another one, with bounded memory. It imports the standard library and python_calamine alone,
and starts in some tens of milliseconds.
"""
