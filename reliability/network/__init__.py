"""The radial network of a study as arrays, and the resolution of its protection.

Knows the tree (parents first, so that a subtree is one slice), the laterals that a conversion may change, the devices,
settings, fuse links and time-current curves, and which device operates first for a fault current. Gives a `Network`,
the protection of each scenario with the quantities of a fault at every place, and the application checks of a
conversion. Reads no file and knows no rates beyond the columns of the sections.
"""
