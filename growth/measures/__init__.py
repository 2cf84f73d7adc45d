"""What is read off a forecast: each measure a number, or the reason why there is none."""

from growth.measures.ceiling import customer_ceiling, growth_ceiling
from growth.measures.left import enough_left, left_at_ceiling, left_month, money_left
from growth.measures.lifetime import lifetime_value, margin_multiple, payback_months
from growth.measures.measure import Measure
from growth.measures.month import (
    break_even_month,
    customer_acquisition_cost,
    goal_month,
    lowest_cash,
    lowest_cash_month,
    quick_ratio,
)
from growth.measures.retention import customer_retention, gross_revenue_retention, net_revenue_retention

__all__ = [
    "Measure",
    "break_even_month",
    "customer_acquisition_cost",
    "customer_ceiling",
    "customer_retention",
    "enough_left",
    "goal_month",
    "gross_revenue_retention",
    "growth_ceiling",
    "left_at_ceiling",
    "left_month",
    "lifetime_value",
    "lowest_cash",
    "lowest_cash_month",
    "margin_multiple",
    "money_left",
    "net_revenue_retention",
    "payback_months",
    "quick_ratio",
]
