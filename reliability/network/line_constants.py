"""Series impedances of an overhead line from its conductors and its pole head (modified Carson's equations).

W. H. Kersting, Distribution System Modeling and Analysis, chapter 4 (from memory): 60 Hz, earth of 100 Ω·m,

    z_ii = r_i + 0.09530 + j 0.12134 (ln(1/GMR_i) + 7.93402)    Ω/mile
    z_ij =       0.09530 + j 0.12134 (ln(1/D_ij)  + 7.93402)

and the neutral, earthed at many places, taken out by Kron's reduction.
"""

from __future__ import annotations

import numpy as np

EARTH_OHM_PER_MILE, REACTANCE_OHM_PER_MILE, EARTH_TERM = 0.09530, 0.12134, 7.93402


def phase_impedances(resistance_ohm_per_mile: np.ndarray, gmr_ft: np.ndarray, place_ft: np.ndarray,
                     neutrals: int = 1) -> np.ndarray:
    """Impedance matrix of the phases, (p, p) complex, Ω/mile, the neutrals reduced.

    resistance_ohm_per_mile, gmr_ft: (w,) of each wire, phases first and neutrals last. place_ft: (w, 2) across and up,
    on the pole head.
    """
    apart = np.linalg.norm(place_ft[:, None] - place_ft[None], axis=-1)
    np.fill_diagonal(apart, gmr_ft)
    primitive = (np.diag(resistance_ohm_per_mile) + EARTH_OHM_PER_MILE
                 + 1j * REACTANCE_OHM_PER_MILE * (EARTH_TERM - np.log(apart)))
    if not neutrals:
        return primitive
    phases = len(gmr_ft) - neutrals
    own, between, neutral = (primitive[:phases, :phases], primitive[:phases, phases:], primitive[phases:, phases:])
    return own - between @ np.linalg.solve(neutral, between.T)


def sequence_impedances(matrix: np.ndarray) -> tuple[complex, complex]:
    """Positive- and zero-sequence impedance of a line of three phases that is transposed, in the matrix's unit.

    matrix: (3, 3) of the phases. Mean self less mean mutual, and mean self plus two mean mutual: the diagonal of
    Fortescue's transform of it.
    """
    itself = np.trace(matrix) / 3.0
    mutual = (matrix.sum() - np.trace(matrix)) / 6.0
    return complex(itself - mutual), complex(itself + 2.0 * mutual)
