"""What to ask an owner, in order: the five first questions, then whatever moves this client's answer most."""

from __future__ import annotations

from growth.calculator.as_said import as_said
from growth.giveaway.sensitivity import sensitivities
from growth.scenario import Scenario
from growth.scenario.address import fields
from growth.scenario.source import sources_by_path

FIRST = (
    "How many customers pay you today?",
    "What does one of them pay a month? Is there more than one plan, or a yearly one?",
    "How many joined in a usual month of the last half year? Where did they hear of you?",
    "How many left in a usual month? Two of sixty will do; nobody has to know a rate.",
    "What monthly revenue would change something for you, and what would it change?",
)
ASK = {  # by the last steps of an address; common practice, no source
    "monthly_churn_rate": "Who left last, and why? Do they leave in their first months or at any time?",
    "mrr": "What did all customers together pay last month, before tax and fees?",
    "monthly_price": "When did you last change the price, and what happened?",
    "monthly_customers": "What brought the last five customers to you?",
    "monthly_visitors": "How many people see your site in a month, and who counts them?",
    "signup_rate": "Of a hundred who see it, how many sign up?",
    "conversion_rate": "Of ten who try it, how many pay in the end?",
    "monthly_expansion_rate": "Does anybody pay more than at the start? How many, and how much more?",
    "customers": "Does that number count people on a trial, or who have not paid for a while?",
}


def questions_text(scenario: Scenario) -> str:
    """The list of questions as Markdown.

    Parameters
    ----------
    scenario
        Of the client, as far as it is known. The deeper questions follow from its numbers.

    Returns
    -------
    str
        Markdown: five first questions, then one for each number that moves the last month's MRR, the largest effect
        first, with where the number comes from so far.

    Examples
    --------
    >>> plan = {"name": "Studio", "monthly_price": 29}
    >>> text = questions_text(Scenario(business="Kiln", opening={"customers": 40}, pay={"plans": [plan]}))
    >>> text.splitlines()[0]
    '# What to ask: Kiln'
    """
    known, values = sources_by_path(scenario), scenario.model_dump()
    there = {field.path: field for field in fields(scenario)}
    lines = [f"# What to ask: {scenario.business}", "", "## First", ""]
    lines += [f"{number}. {question}" for number, question in enumerate(FIRST, start=1)]
    lines += ["", "## Then, by how much it moves this answer", ""]
    for number, one in enumerate(sensitivities(scenario), start=1):
        source = known.get(one.path)
        field = there[one.path]
        told = f"{source.source}{f', {source.note}' if source.note else ''}" if source else "no source yet"
        if given := as_said(field.value, field.assumption.unit, scenario.currency):
            told += f"; {given[:1].lower()}{given[1:-1]}"
        place = one.place(values)
        question = ASK.get(field.name, f"What do you know about it: {one.label.lower()}?")
        effect = (
            f"a tenth of it moves month {scenario.months} by {one.size:.0%}" if one.size >= 0.005 else "hardly moves"
        )
        lines.append(f"{number}. **{one.label}** ({effect}; {told}). {question} `{place}`")
    lines += ["", "A forecast shows what follows from its assumptions. It is neither advice nor a promise.", ""]
    return "\n".join(lines)
