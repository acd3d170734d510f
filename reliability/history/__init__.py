"""Outage records: what they say about indices, fault rates and the effect of conversions.

Raises StudyError where a study has no records, or where the records can be read in two ways
and a key of [history] has to settle it. Oddities are findings: counted, listed, treated.
"""

from reliability.history.history import History, read_history
from reliability.history.rates import LearnedRates, learn_rates, learned_study

__all__ = ["History", "LearnedRates", "learn_rates", "learned_study", "read_history"]
