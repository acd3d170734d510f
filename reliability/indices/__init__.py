"""Reliability indices: their definitions, expected values, and simulation.

Knows the indices of IEEE Std 1366 (SAIFI, SAIDI, CAIDI, ASAI, MAIFI, MAIFI_E, CEMI, CELID) and ENS as functions of
yearly sums. Gives their expected values in closed form, by system and by section, and by Monte Carlo simulation their
spread over years and over draws of the uncertain assumptions. Both take their sums from the outcome table.
"""
