"""The outcome table: every class of fault, its rate, and its consequences under each scenario.

Knows how protection responds to a fault: where along a section it lies, which phases and operations it involves, which
devices work, and at which operation the sequence ends. Gives rows of independent Poisson processes with their rates
(a year), and for each scenario the customers and load interrupted, the hours, the momentary events and the call-outs.
Expected values, simulation and money are sums over these rows.
"""
