"""Fixed words of the report: definitions with their clauses, and the method in a page.

The clauses stand here and nowhere else in the package; DEVELOPERS.md repeats them, and a test compares.
"""

from __future__ import annotations

STANDARD = "IEEE Std 1366-2012"
CLAUSES_FROM_MEMORY = "clause numbers from memory"

TRADE = "not in the standard"
# term, definition, clause
DEFINITIONS: tuple[tuple[str, str, str], ...] = (
    ("Sustained interruption", "Loss of supply to a customer for more than five minutes.", "2"),
    ("Momentary interruption", "Loss of supply of five minutes or less that ends by an operation of a device.", "2"),
    ("Momentary event", "All momentary interruptions of one sequence of a reclosing device, counted once: those that "
                        "begin within five minutes of the first; what precedes a sustained interruption is not "
                        "counted.",
     "2"),
    ("SAIFI", "Sustained customer interruptions of a year over customers served.", "3.2.1"),
    ("SAIDI", "Minutes of sustained interruption of all customers in a year over customers served.", "3.2.2"),
    ("CAIDI", "SAIDI over SAIFI: the mean time to restore a customer, in minutes.", "3.2.3"),
    ("ASAI", "Share of the hours of a year in which supply was available.", "3.2.6"),
    ("CEMI-n", "Share of customers with n or more sustained interruptions in a year.", "3.2.7"),
    ("CELID-t", "Share of customers with an interruption of t hours or more.", "3.2.8"),
    ("MAIFI", "Momentary customer interruptions of a year over customers served.", "3.4.1"),
    ("MAIFI_E", "Customers' momentary events of a year over customers served.", "3.4.2"),
    ("Major event day", "A day whose SAIDI is above T_MED = exp(α + 2.5 β), with α and β the mean and standard "
                        "deviation of the logarithms of daily SAIDI of up to five earlier years.", "3.5, annex B"),
    ("ENS", "Energy not supplied in a year.", "not in the standard"),
    ("Lateral", "A line that branches off a feeder's main behind a protective device of its own.", TRADE),
    ("Electronic sectionalizer", "A device in a fuse's cutout, in place of the fuse, that counts the openings of the "
                                 "breaker or recloser behind it and opens while the line is dead.", TRADE),
    ("Fast tripping", "A breaker or recloser opens before a fuse melts (fuse saving): a temporary fault costs "
                      "everybody behind it a momentary interruption and nobody a sustained one.", TRADE),
)
CLAUSES = {term: clause for term, _, clause in DEFINITIONS}


def clause_of(*terms: str) -> str:
    """Where the standard defines these terms, as a source is named."""
    return f"{STANDARD}, {', '.join(CLAUSES[t] for t in terms)}; {CLAUSES_FROM_MEMORY}"

MOMENTARY_DEFINITION = ("Momentary interruptions of one place that begin within five minutes of the first of them "
                        "count as one momentary event (MAIFI_E; as Oklahoma Administrative Code 165:35-25-20 asks); "
                        "those that precede a sustained interruption are not counted for the customers who have it.")

AT_THE_MEANS = ("Expected values, NPV among them, are at the mean of each input that has a range, not means over the "
                "ranges")
SEPARATE_DRAWS = ("Inputs with ranges are drawn independently of one another, the failure probability of fuses and "
                  "that of the devices that replace them among them: one draw of each holds for all devices of its "
                  "kind, under every scenario. Were old and new devices good or bad together, ranges of differences "
                  "between scenarios would be narrower wherever failures of both cost alike, and means nearly the "
                  "same. Only learned rates and temporary fractions are drawn together, as the records tell them.")
LEARNED_INTERVALS = ("The 90 % intervals of learned rates hold the true rate of nine laterals in ten on average, over "
                     "good ones and bad ones. They are no promise for the worst: the truly worst are drawn towards the "
                     "others of their group, and their rates lie above their intervals more often than one time in "
                     "ten.")
METHOD_PARAGRAPHS: tuple[str, ...] = (
    "The network is a set of radial feeders of line sections. A section may carry one device at its source end: "
    "breaker, recloser, lateral recloser, fuse, sectionalizer or switch.",
    "Faults come to each section at random and independently (a Poisson process), in proportion to its length plus "
    "a rate of its equipment. A fault is temporary or permanent; a temporary one clears in the first, second or "
    "third dead time.",
    "For every kind of fault the sequence of the reclosing device above is followed operation by operation. Where "
    "settings of the device and the link of the fuse are known, its clearing time at the fault's current stands "
    "against the fuse's melting time, of which a share is usable, and total clearing time: on each operation the "
    "device clears alone, the fuse alone, or both act. Where they are not known, a fast operation saves the fuse below "
    "its largest current for fuse saving and both act above it, and on a delayed one the fuse clears alone. A "
    "sectionalizer counts the openings of the reclosing device and opens in a dead time once it has reached its "
    "counts; it does not see currents below its actuating current. A device may fail with a stated probability. With "
    "reclosing off there is one operation, and no sectionalizer opens.",
    "If nothing stays open, the customers of the zone have one momentary event. If a device stays open, the "
    "customers below it have a sustained interruption, and the others of the zone a momentary event where the "
    "reclosing device opened first. A device with one unit a phase opens only the phases involved.",
    "After a permanent fault the faulted part waits for repair; the rest is restored by switching, or from another "
    "supply with its stated chance. After a temporary fault all wait until the device is closed or its "
    "fuse replaced.",
    "The consequences of every kind of fault, times its yearly rate, add up to the expected indices. The same table "
    "with random counts, times and a storm factor common to all sections of a year gives the simulated ones.",
    "Two kinds of uncertainty are separate: variability from year to year, and assumptions given as low, likely "
    "and high (a PERT distribution), drawn once for a whole horizon. What a study states without a range has a default "
    "one around its value, where there is a reason for one; it moves no expected value. All scenarios see the same "
    "faults, so that a difference between them is one of protection and not of chance.",
    f"{AT_THE_MEANS}: where a figure is not a straight line in an input, as NPV is not in a price times a number of "
    "call-outs, its mean over the ranges is another. What is given as a range of a figure, and the probability that an "
    "NPV is above 0, come from the simulation, which draws every such input.",
    SEPARATE_DRAWS,
    LEARNED_INTERVALS,
    "Money is counted under one perspective at a time: the utility's (crew, material, energy margin, the "
    "regulator's incentive) or society's (crew, material, customers' interruption cost). Capital is spent in year "
    "0, savings come at the ends of the years, grow with the escalation rate and are discounted.",
    "In outage records momentary interruptions of one place that begin within five minutes are one momentary event. "
    "Customers whose sustained interruption begins within five minutes after it have none, at the same place or, as "
    "far as the records together name more customers than are served there, at another. Records are compared with the "
    "model on the same kind of days: all days, or those without major events.",
    "Interruptions of upstream supply, planned work, vehicles and equipment damaged by through-faults are not "
    "modelled; neither are failures that depend on one another, other than through a stormy year. Of protection these "
    "are not: phase-to-phase faults clear of earth, whose current is another than the one stated (of a fault from "
    "phase to earth); the replacement of a fuse that melted together with the device that locked out; fuse against "
    "fuse; a lateral recloser that is too slow for the fast curve above it, of which a note tells; and a device that "
    "does not pick up, which is taken to be opened by somebody where no fuse melts.",
)
