"""Outage records: observed indices, learned fault rates, and the effect of conversions.

Knows the outage records of a study, step by step and matched to the network, with every irregularity counted, listed
and treated as a finding. Gives indices by year, feeder, cause and day with and without major event days, indices of
single customers, restoration times, fault rates and temporary fractions learned by lateral, the comparison with the
model, and the comparison of converted with other laterals. Writes no document. Raises StudyError where a study has no
records, or where they can be read in two ways and a key of [history] must say which.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reliability.history.history import History, read_history
    from reliability.history.rates import LearnedRates, learn_rates, learned_study

__all__ = ["History", "LearnedRates", "learn_rates", "learned_study", "read_history"]

# loaded when first asked for: reading records needs neither
_HOME = {"History": "history", "read_history": "history", "LearnedRates": "rates", "learn_rates": "rates",
         "learned_study": "rates"}


def __getattr__(name: str) -> object:
    if name in _HOME:
        return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
    raise AttributeError(f"module '{__name__}' has no attribute '{name}'")
