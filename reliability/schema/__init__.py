"""What a study may hold, defined once: columns, assumptions, devices, scenarios, and problems with them.

Definitions only: nothing here reads a file of the user's or computes. Every other room takes names, units, bounds,
defaults and the properties of a device from here.
"""
