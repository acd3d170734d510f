"""The business case of scenarios, and the selection of laterals under constraints.

Knows costs, savings and cash flow from the utility's and society's perspective (NPV, IRR, benefit-cost ratio,
payback), the options of every lateral, and the constraints of budget, units and momentary events. Gives the business
case of every scenario with its spread, the selection that is best for an objective, the benefit against the budget,
the programme by year, and the sensitivity of the NPV to the assumptions.
"""
