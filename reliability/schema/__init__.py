"""What a study may hold, defined once: columns, assumptions, devices, scenarios, and problems.

Knows the name, unit, bounds, default, source and help text of every column and assumption, the properties of every
device, the named curves, and the reference tables that come with the package. Gives these definitions to every other
room, and `Problem` and `StudyError` to report with. Definitions only: it reads none of the user's files and computes
nothing.
"""
