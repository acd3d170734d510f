"""The level of all intervals of what is learned or compared from records."""

LEVEL = 0.90                       # our choice
TAILS = (1 - LEVEL) / 2, (1 + LEVEL) / 2
