"""The words that the review of a brief looks for, and what it says of them."""

from __future__ import annotations

import re

from growth.giveaway.publishing import MOST_BYTES


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

REMARKS = {  # rule -> why it matters, what to try
    "general question": (
        "A general question fits everybody, so nobody takes it for their own.",
        "Put it as one reader would say it aloud: with I or my, the two things to choose between, a number of theirs.",
    ),
    "no quotation": (
        "Nothing shows that the writer has listened to anybody in this situation.",
        "Quote a sentence that a reader said or wrote to you, with their permission, or mark an invented speaker as "
        "invented.",
    ),
    "no caution": (
        "The page has its standing cautions, but none of them is about this question.",
        "Say what this answer leaves out, and what would change it.",
    ),
    "no invitation": (
        "A reader who wants more has nowhere to go.",
        "Add one plain invitation to join the list.",
    ),
    "no address": (
        "The e-mail and the handout cannot say where the page is, and no picture appears where it is shared.",
        "Give the https:// address that the page will have.",
    ),
    "no byline": (
        "The picture, the e-mail and the handout do not say whose work this is.",
        "Say who wrote it, in a line.",
    ),
    "more than one answer": (
        "A reader remembers one answer. Two are an essay, and leave the choice where it was.",
        "Keep the answer that the numbers give, in one sentence or two. Put the rest into a caution, or another piece.",
    ),
    "more than one invitation": (
        "Each further invitation takes away from the first.",
        "Leave it out here; the invitation at the end does the asking.",
    ),
    "promise": (
        "Nobody can promise it, and a forecast is not a promise.",
        "Say what follows from which numbers: on these numbers, you would reach it in month {goal_month}.",
    ),
    "number not computed": (
        "The model did not compute it, so it will be wrong as soon as an assumption is changed.",
        "Put a place for it, such as {closing_mrr} or {goal_month}, or leave the number out.",
    ),
    "long sentence": (
        "On a phone the start is out of sight before the end is read.",
        "Make two sentences of it.",
    ),
    "term not explained": (
        "Not every reader knows this term of the trade.",
        "Say once, where it first stands, that it is MEANING; or use the plain words alone.",
    ),
    "picture without text": (
        "Whoever cannot see it, or has pictures switched off, learns nothing.",
        "Say in a sentence what it shows, as the picture's alternative text.",
    ),
    "page too heavy": (
        "On a slow phone it is left before it is there.",
        f"Keep it within {MOST_BYTES // 1024} KB: fewer or smaller pictures, shorter texts.",
    ),
}
GAPS = {  # rule -> the part of the brief that is missing
    "no quotation": "case.quotations",
    "no caution": "cautions",
    "no invitation": "invitation",
    "no address": "address",
    "no byline": "byline",
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
