"""What may be read otherwise than meant: columns that are not read, customers and plans in two spellings."""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from growth.errors import count_of

STATUS = "if it tells charges that failed from those that were paid, name it under `columns: {status: ...}`"
HINTS = {  # what the names of columns look like that matter and are not read, and what to do about them
    "refund": "if it holds refunds, name it under `columns: {refunded: ...}` in the file for --columns",
    "status": STATUS,
    r"^\W*(is[ _])?(paid|bezahlt)\W*$": STATUS,
}
PAID_WORDS: tuple[str, ...] = (
    "paid",
    "succeeded",
    "success",
    "successful",
    "complete",
    "completed",
    "captured",
    "settled",
)
PAID_WORDS += ("bezahlt", "yes", "ja", "true")
UNPAID_WORDS: tuple[str, ...] = (
    "pending",
    "open",
    "draft",
    "void",
    "voided",
    "canceled",
    "cancelled",
    "offen",
    "storniert",
)
UNPAID_WORDS += ("no", "nein", "false")
FAILED_WORDS: tuple[str, ...] = ("failed", "failure", "declined", "unpaid", "uncollectible", "expired", "rejected")
FAILED_WORDS += ("past due", "past_due", "overdue", "payment failed", "payment_failed", "failed payment")
FAILED_WORDS += ("non-payment", "nonpayment", "fehlgeschlagen", "rücklastschrift")


def unread_columns(header: Iterable[str], read: Iterable[str]) -> list[str]:
    """Point at columns that are not read and whose names sound as if they mattered.

    >>> unread_columns(["customer", "amount", "Amount refunded"], ["customer", "amount"])[0][:44]
    'the column "Amount refunded" is not read: if'
    """
    rest = [name for name in header if name not in set(read)]
    return [
        f'the column "{" ".join(name.split())[:60]}" is not read: {advice}'
        for name in rest
        for looks, advice in HINTS.items()
        if re.search(looks, name.lower()) and name.isprintable()
    ]


def folded(identifiers: pa.ChunkedArray | pa.Array) -> pa.ChunkedArray | pa.Array:
    """Return identifiers without blanks around them, in lower case."""
    return pc.utf8_lower(pc.utf8_trim_whitespace(identifiers))


def spelled_twice(distinct: pa.Array) -> list[str]:
    """Say how many of these identifiers differ from another one only by upper and lower case or by blanks around."""
    if not pc.any(pc.match_substring_regex(distinct, r"[\p{Lu}\s]")).as_py():
        return []
    more = len(distinct) - len(folded(distinct).unique())
    if not more:
        return []
    are = "it is" if more == 1 else "they are"
    return [
        f"{count_of(more, 'customer differs', 'customers differ')} from another one by upper and lower "
        f"case or blanks alone: {are} read as different; if they are the same, write `letter_case: ignored` in the "
        "file for --columns"
    ]


def one_spelling(plans: tuple[str, ...]) -> tuple[tuple[str, ...], np.ndarray, list[str]]:
    """Join plans that differ by upper and lower case alone: their names, the number of each one given, and a note.

    >>> names, numbers, said = one_spelling(("Studio", "Team", "studio"))
    >>> names, numbers.tolist(), said
    (('Studio', 'Team'), [0, 1, 0], ['1 plan differs from another by upper and lower case alone: they are read as one'])
    """
    places: dict[str, int] = {}
    numbers = np.array([places.setdefault(plan.casefold(), len(places)) for plan in plans], np.int16)
    more = len(plans) - len(places)
    names = {int(number): plan for plan, number in zip(reversed(plans), reversed(numbers.tolist()), strict=True)}
    differ = count_of(more, "plan differs", "plans differ")
    said = [f"{differ} from another by upper and lower case alone: they are read as one"] if more else []
    return tuple(names[number] for number in range(len(places))), numbers, said
