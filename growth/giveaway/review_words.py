"""The words that the reading of a brief looks for."""

from __future__ import annotations

import re


def _any(phrases: str) -> re.Pattern[str]:
    return re.compile(rf"\b(?:{phrases})\b", re.IGNORECASE)


GENERAL = _any(
    r"how (?:do|can|to) (?:I |we |you )?(?:grow|scale|succeed|market|sell)(?: (?:my|our|your|a) "
    r"(?:business|company|start-?up|product|app|saas))?\s*(?:\?|$|faster|better|more)|"
    r"what is (?:churn|mrr|growth|ltv|cac)|everything (?:you|about)|ultimate|the complete|best practices?|tips|"
    r"guide to"
)

PROMISES = _any(
    r"you(?:'ll| will| are going to| are sure to| are certain to) (?:\w+ "
    r")?(?:earn|make|get|reach|have|grow|double|win|gain|save|live|succeed|never)|"
    r"guarantee[ds]?|risk-?free|cannot (?:fail|lose)|can't (?:fail|lose)|certain to|sure to|"
    r"will (?:double|triple|multiply)|proven to|we promise|I promise"
)

HEDGES = _any(r"it depends|on the other hand|alternatively|then again|another option|either way|or perhaps")

ASKS = _any(
    r"sign up|subscribe|book (?:a|your)|call (?:me|us)|follow (?:me|us)|buy|order now|join (?:the|my|our)|"
    r"download|share this|write to (?:me|us)|reply to|click|contact (?:me|us)|shall I send|shall we send|"
    r"get in touch|forward this"
)
HINTS_OF_ELSEWHERE = re.compile(r"https?://|www\.|@\w+\.\w", re.IGNORECASE)

INTERVALS = re.compile(r"\d% intervals?\b", re.IGNORECASE)  # numbers beside these words were counted, with their room
NUMBER_WORDS = _any(
    r"two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|twenty|thirty|forty|fifty|sixty|seventy|eighty|"
    r"ninety|hundred|thousand|million|half|third|quarter|twice|double[ds]?"
)

TERMS = {  # a term of the trade -> what it is, in plain words
    "MRR": "what all customers pay in a month (monthly recurring revenue)",
    "ARR": "twelve times what all customers pay in a month",
    "ARPA": "what a customer pays in a month on average",
    "CAC": "what it costs to win a customer",
    "LTV": "what a customer brings over their whole stay",
    "NRR": "the share of last year's revenue that the same customers pay today",
    "GRR": "the share of last year's revenue that is still paid, upgrades not counted",
    "churn": "the share of customers who leave in a month",
    "cohort": "the customers who joined in the same month",
    "conversion": "the share who go on to the next step",
    "expansion": "what customers who stay pay more than before",
    "contraction": "what customers who stay pay less than before",
    "deferred revenue": "money paid for months that are still to come",
    "payback": "the months until a customer has paid back what winning them cost",
    "runway": "the months until the cash is gone",
    "quick ratio": "what comes in for each unit that is lost",
}


def explained(term: str, text: str) -> bool:
    """Whether a text says somewhere what a term is: "is called churn", "churn is", "churn, the share", "churn (...)".

    >>> explained("churn", "One in twenty leaves; this is called churn."), explained("churn", "Churn is high.")
    (True, False)
    """
    word = re.escape(term)
    before = rf"(?:call(?:ed|s)?(?: this| it| that)?|known as|\bthat is|this is|named)\s+[\"'“]?{word}\b"
    after = rf"\b{word}\b[\"'”]?\s*(?:\(|:|,\s*(?:the|what|that is|monthly|which)\b|\bis (?:the|what|how)\b|means\b)"
    brackets = rf"\({word}\)"
    return bool(re.search(f"{before}|{after}|{brackets}", text, re.IGNORECASE))


def sentences(text: str) -> list[str]:
    """A text in parts that a reader takes in at once: up to a full stop, a colon or a semicolon.

    >>> sentences("Ten join. Two leave: that is a fifth.")
    ['Ten join.', 'Two leave:', 'that is a fifth.']
    """
    return [part for part in re.split(r"(?<=[.!?;:])\s+(?=\D)", " ".join(text.split())) if part]
