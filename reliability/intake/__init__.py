"""Exports of other systems to a study: traced, merged, translated, reported.

Knows the kinds of exports (segments, devices, customers, sources, outages, …), the recipe that holds every decision,
how spans join to a network and how that becomes line sections with a parent, and what has to be said about it. Gives
`Imported`, the tables of a study with a report, or what is still undecided. Nothing else loads libraries for geometry.
"""

from reliability.intake.importing import NO_RECIPE, Prepared, import_exports, import_study, prepare
from reliability.intake.outcome import Imported
from reliability.intake.reading import Exports, read_exports
from reliability.intake.recipe import Recipe, read_recipe

__all__ = ["NO_RECIPE", "Exports", "Imported", "Prepared", "Recipe", "import_exports", "import_study", "prepare",
           "read_exports", "read_recipe"]
