"""From a business's own billing records to the assumptions of a scenario, each with its interval.

    rows = read_records("charges.csv")         # customers are numbers from here on
    measured = measure(spread_payments(rows))
    write_scenario(measured, "measured.yaml", business="Fernhollow Studio Planner")

What the records have to look like and how each number is measured stands in `records.md`, beside this file.
"""

from growth.lazy import public_names

__getattr__, __dir__ = public_names(__name__)
