"""A growth forecasting workbook for subscription software.

>>> import growth
>>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000}]}, months=3)
>>> growth.forecast(scenario).new_customers.round(6).tolist()
[10.0, 10.0, 10.0]
"""

from growth.lazy import public_names

__version__ = "0.1.0"
__getattr__, __dir__ = public_names(__name__)
