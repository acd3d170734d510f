"""Every formula of the method with its source, for the app's page on the method."""

from __future__ import annotations

from reliability.report.definitions import STANDARD, clause_of
from reliability.schema.assumption_types import OURS
from reliability.schema.assumptions import CONSUMER_PRICES_SOURCE

RULES = "the model of this tool"
MEMORY = "from memory"

# (what, formula, source)
FORMULAS: tuple[tuple[str, str, str], ...] = (
    ("Faults of a section a year", "length × line fault rate + equipment fault rate", RULES),
    ("Fault current at x along a section", "1/I(x) = (1 − x)/I_source + x/I_end", "impedance in proportion to length"),
    ("Largest current for fuse saving", "I at which usable share (0.75 unless the study says otherwise) × minimum "
     "melting time = fast clearing time of the backup",
     "75 % rule, common practice, no source; melting points of IEEE C37.42, " + MEMORY),
    ("Melting below 0.1 s", "I² · t constant", "adiabatic heating"),
    ("Total clearing of a fuse", "maximum melting time + arcing time", RULES),
    ("Clearing time of an element, IEEE curves", "dial × (A / (u^p − 1) + B) + added time, u = I / pickup > 1: "
     "moderately inverse A 0.0515, B 0.114, p 0.02; very inverse 19.61, 0.491, 2; extremely inverse 28.2, 0.1217, 2",
     "IEEE C37.112, " + MEMORY),
    ("Clearing time of an element, IEC curves", "dial × k / (u^α − 1) + added time: standard inverse k 0.14, α 0.02; "
     "very inverse 13.5, 1; extremely inverse 80, 2", "IEC 60255-151, " + MEMORY),
    ("Clearing time of a device", "the least of its elements that see the fault: on a fast operation of fast and "
     "delayed ones, on a delayed one of delayed ones; ground elements see faults of one or two phases", RULES),
    ("Fuse and device on an operation, by curves", "device alone where its time ≤ usable share × minimum melting time; "
     "else fuse alone where its total clearing ≤ the device's time without added time; else both", RULES),
    ("Actuating current of a sectionalizer", "ratio (1.6 unless the study says otherwise) × continuous rating",
     "common practice, no source"),
    ("Minimum trip of a reclosing device", "least pickup of its phase and ground elements; without settings as stated",
     RULES),
    ("Inrush of a lateral", "multiple × √3 · connected kVA / (phases · kV), kV from line to line, even over the phases",
     "our formula; multiple of 8 to 12, common practice, no source"),
    ("Time of a reclosing sequence", "first dead time + further ones at the longest + clearing times after the first "
     "opening", OURS),
    ("Continuous rating chosen", "smallest offered ≥ margin × peak load, with pickup × peak load ≤ actuating current",
     OURS + "; ratings of series R10, IEC 60059, " + MEMORY),
    ("Fuse melts in operation, without curves", "1 where it is not saved, else F + 1", RULES),
    ("Sectionalizer opens in dead time", "its counts, if a dead time follows that opening", "IEEE C37.63, " + MEMORY),
    ("Share of customers interrupted by a one-phase device", "E[phases involved] / phases, at most 1", RULES),
    ("Time to restore a permanent fault", "block of the fault: repair; beyond it: P(tie) switching, else repair; "
     "before it: switching", RULES),
    ("Severity of an event", "lognormal, mean 1, σ² = ln(1 + cv²)",
     "restoration times are well described by a lognormal"),
    ("SAIFI", "Σ customers interrupted / customers served", clause_of("SAIFI")),
    ("SAIDI", "Σ customer-minutes interrupted / customers served", clause_of("SAIDI")),
    ("CAIDI", "SAIDI / SAIFI", clause_of("CAIDI")),
    ("ASAI", "1 − SAIDI / 525 600", clause_of("ASAI")),
    ("MAIFI, MAIFI_E", "Σ momentary interruptions, Σ momentary events / customers served",
     clause_of("MAIFI", "MAIFI_E")),
    ("CEMI-n", "share of customers with n or more; counts Poisson, or negative binomial of shape 1/cv²",
     clause_of("CEMI-n")),
    ("CELID-t", "share of customers with an interruption of t hours or more", clause_of("CELID-t")),
    ("ENS", "Σ average load × hours interrupted", "energy not supplied; not in the standard"),
    ("Break-even share of faults while reclosing is off", "a / (a + b): a the SAIDI avoided with reclosing on "
     "everywhere, b the SAIDI added with reclosing off, one share for all devices", RULES),
    ("Break-even value of a momentary event", "the factor on the tabulated momentary values at which society's NPV, "
     "linear in it, is 0", RULES),
    ("Major event day", "daily SAIDI > exp(α + 2.5 β), α and β of ln daily SAIDI, days of zero left out, divisor n − 1",
     f"{STANDARD}, annex B"),
    ("Learned fault rates", "recorded ~ Poisson, with means from the rules of protection of the time: λ·p·A for "
     "temporary faults and λ·(1 − p)·B for permanent ones, A and B the parts that leave a record at a place; λ of a "
     "lateral gamma about the mean of its group, logit p of a group normal about that of all; posterior by Gibbs "
     "sampling", RULES),
    ("Learned temporary fraction of a lateral", "posterior mean of its temporary faults over that of all its faults",
     RULES),
    ("Fit of a reclosing device", "recorded faults that left nothing open, against those predicted from the rates that "
     "the sustained records and all other devices tell", RULES),
    ("Mean of low / likely / high", "(low + 4 likely + high) / 6", "PERT, a scaled beta distribution"),
    ("Call-out", "crew hours × rate × (1 + overtime share × (multiplier − 1)) + vehicle + material", RULES),
    ("NPV", "−capital + Σ (saving · (1+g)^(y−1) − inspection) / (1+r)^y; expected savings at the mean of each range, "
     "not a mean over the ranges", "discount arithmetic"),
    ("Capital replaced", "in year k·n < H, n the life of what is installed: capital of year 0 × (1+g)^(k·n)",
     OURS),
    ("Customers' cost of an event", "Σ customers × c(L·h) by class: c linear between the tabulated durations, L the "
     "event's severity, h the mean time of those who wait or are switched; its mean over the lognormal L in closed "
     "form", RULES),
    ("Price level of interruption costs", "table × consumer prices of price_year / of interruption_cost_year × "
     "interruption_cost_factor", CONSUMER_PRICES_SOURCE),
    ("Revenue requirement of a year", "rate base × (debt share × interest + equity share × return / (1 − tax)) + "
     "depreciation + inspection − crew work saved", "cost of service, straight-line depreciation"),
    ("Levelised revenue requirement", "the even yearly amount of the same present value at the cost of capital, debt "
     "share × interest + equity share × return", "discount arithmetic"),
    ("Annualised capital", "capital × r / (1 − (1+r)^−H)", "capital recovery factor"),
    ("Benefit-cost ratio", "present value of savings / (capital + present value of inspection)", "discount arithmetic"),
    ("Internal rate of return", "rate at which the NPV is 0; of several the one nearest 0", "discount arithmetic"),
    ("Payback, discounted payback", "years until savings less inspection, as they are or at their present value, reach "
     "the capital; a straight line within a year", "discount arithmetic"),
    ("Cost per interruption or minute avoided", "annualised capital / what is avoided a year",
     OURS),
    ("Share of the NPV's variance", "Sobol' indices, first order and total, over the ranges stated and default",
     "Saltelli's scheme; estimators of Saltelli and others, 2010, and Jansen, 1999 (from memory)"),
    ("Range of an assumption", "PERT: low + (high − low) × beta(1 + 4 (likely − low) / (high − low), "
     "1 + 4 (high − likely) / (high − low)); by default value ± a share of its distance to the nearer of its bounds",
     "project scheduling, from memory; the default: " + OURS),
    ("Effect of conversions made, raw", "(events after / before on converted laterals) / (the same on the others), "
     "conditional on both totals, mid-p", "difference in differences"),
    ("… predictive", "events after on converted laterals, binomial of both groups' with Λ_c / (Λ_c + Λ_o), sums of "
     "gamma–Poisson rates given the counts before, their hyperparameters drawn", "hierarchical Bayes"),
    ("Spread of lateral-years φ", "f = Q (1 + φ) / (1 + φ Q): f, Q the shares of pairs of events in one year, of one "
     "and of different laterals", "moments of a gamma–Poisson mixture"),
    ("Power of a pilot", "normal in the logarithm of the ratio; variance the sum over four counts of 1 / events + "
     "φ (1 + cv²) / lateral-years, and of the drift", "delta method"),
    ("Customers' cost of an event", "by class, linear between tabulated durations, integrated over the severity",
     "LBNL-6941E, 2015, dollars of 2013, " + MEMORY),
)
MODEL_LIMITS: tuple[str, ...] = (
    "Faults are independent of one another, and the network is whole when the next one comes.",
    "No voltage sags, no transients, no load flow: only interruptions.",
    "Phase-to-phase faults clear of earth, fuse against fuse, and a fuse to be replaced after a lockout are left out.",
    "Customers are spread evenly over phases; a lateral is one level with its sub-laterals behind fuses of their own.",
    "Expected values are exact for these rules; the rules are an estimate for planning, not settings.",
)
