"""What a giveaway leaves out: the parts that a page, a picture or an e-mail cannot do without."""

from __future__ import annotations

from collections.abc import Iterator

from growth.giveaway.brief import Giveaway
from growth.giveaway.finding import Finding

_GAPS = (  # rule, field, why it matters, what to try
    (
        "no quotation",
        "case.quotations",
        "Nothing shows that the writer has listened to anybody in this situation.",
        "Quote a sentence that a reader said or wrote to you, with their permission, or mark an invented speaker as "
        "invented.",
    ),
    (
        "no caution",
        "cautions",
        "The page has its standing cautions, but none of them is about this question.",
        "Say what this answer leaves out, and what would change it.",
    ),
    (
        "no invitation",
        "invitation",
        "A reader who wants more has nowhere to go.",
        "Add one plain invitation to join the list.",
    ),
    (
        "no address",
        "address",
        "The e-mail and the handout cannot say where the page is, and no picture appears where it is shared.",
        "Give the https:// address that the page will have.",
    ),
    (
        "no byline",
        "byline",
        "The picture, the e-mail and the handout do not say whose work this is.",
        "Say who wrote it, in a line.",
    ),
)


def missing_parts(giveaway: Giveaway, *, line: int | None = None) -> Iterator[Finding]:
    """Yield a finding for each part that the giveaway leaves out.

    Parameters
    ----------
    giveaway
        The validated words of the giveaway.
    line
        The line of the file to report, from 1: there is no line for what is not there.

    Examples
    --------
    >>> bare = Giveaway(name="a-piece", question="When can I live from it?")
    >>> [finding.field for finding in missing_parts(bare)]
    ['case.quotations', 'cautions', 'invitation', 'address', 'byline']
    """
    for rule, field, reason, suggestion in _GAPS:
        value: object = giveaway
        for name in field.split("."):
            value = getattr(value, name)
        if not value:
            yield Finding(rule, field, line, "", reason, suggestion)
