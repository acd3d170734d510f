"""Names of time-current curves that a study may use, and the constants of those that are built in."""

from __future__ import annotations

from collections.abc import Mapping

DEFINITE = "definite"

# Constants (A, B, p) of t = dial × (A / (u^p − 1) + B): IEEE C37.112 and IEC 60255-151, both from memory (model §8).
# A definite time is the curve without its first term.
INVERSE: Mapping[str, tuple[float, float, float]] = {
    DEFINITE: (0.0, 1.0, 1.0),
    "ieee_moderately_inverse": (0.0515, 0.1140, 0.02),
    "ieee_very_inverse": (19.61, 0.491, 2.0),
    "ieee_extremely_inverse": (28.2, 0.1217, 2.0),
    "iec_standard_inverse": (0.14, 0.0, 0.02),
    "iec_very_inverse": (13.5, 0.0, 1.0),
    "iec_extremely_inverse": (80.0, 0.0, 2.0),
}

# A link's own two curves are named "<link> melting" and "<link> clearing".
MELTING, CLEARING = "melting", "clearing"
