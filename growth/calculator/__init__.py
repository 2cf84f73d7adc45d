"""The slider calculator: one front end, live in JupyterLab and mounted unchanged in the published page."""

from growth.calculator.bundle import script, style
from growth.calculator.data import answer_html, page_data, table_html
from growth.calculator.widget import PAGE_DATA, Calculator
from growth.calculator.words import answer

__all__ = ["PAGE_DATA", "Calculator", "answer", "answer_html", "page_data", "script", "style", "table_html"]
