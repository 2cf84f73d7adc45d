"""Which pieces the buyers of a launch name as what brought them: first, last and any mention, three questions."""

from __future__ import annotations

from dataclasses import dataclass

from growth.earned.columns import THOUSANDTHS
from growth.earned.interval import Interval, share
from growth.earned.ledger import Ledger


@dataclass(frozen=True, slots=True)
class Mention:
    """One piece among the buyers of a launch.

    first: it is the first that they name (what began it). last: the last (what settled it). any: they name it at all
    (it had a part). Each the share of all the launch's buyers, of those who named nothing too. first_amount and the
    others: what these buyers paid in all. Shares of `any` may add to more than one.
    """

    piece: str
    first: Interval
    last: Interval
    any: Interval
    first_amount: float
    last_amount: float
    any_amount: float


def launches(ledger: Ledger) -> list[str]:
    """The names of the launches, by their first sale."""
    question = (
        "SELECT launch FROM buyers WHERE replaced IS NULL AND launch <> '' GROUP BY launch ORDER BY min(bought), launch"
    )
    return [row[0] for row in ledger.select(question)]


def mentions(ledger: Ledger, *, launch: str) -> tuple[int, list[Mention]]:
    """How many bought in a launch, and each piece that was named, the most named first."""
    question = "SELECT buyer, amount, named FROM buyers WHERE replaced IS NULL AND launch = ? ORDER BY bought"
    paid: dict[str, int] = {}
    named: dict[str, list[str]] = {}
    for buyer, amount, names in ledger.select(question, (launch,)):
        paid[buyer] = paid.get(buyer, 0) + amount
        named.setdefault(buyer, []).extend(name for name in names.split(";") if name)
    pieces = {name for names in named.values() for name in names}
    found = [_mention(piece, paid, named) for piece in pieces]
    return len(paid), sorted(found, key=lambda one: (-(one.any.value or 0), -(one.first.value or 0), one.piece))


def _mention(piece: str, paid: dict[str, int], named: dict[str, list[str]]) -> Mention:
    groups = (
        [buyer for buyer, names in named.items() if names[:1] == [piece]],
        [buyer for buyer, names in named.items() if names[-1:] == [piece]],
        [buyer for buyer, names in named.items() if piece in names],
    )
    shares = [share(count=len(group), of=len(paid)) for group in groups]
    amounts = [sum(paid[buyer] for buyer in group) / THOUSANDTHS for group in groups]
    return Mention(piece, *shares, *amounts)


def own_words(ledger: Ledger, *, piece: str, most: int = 5) -> list[str]:
    """The newest words of buyers who name a piece or signed up with it."""
    question = (
        "SELECT words FROM buyers WHERE replaced IS NULL AND words <> '' AND (piece = ? OR ';' || named || ';' LIKE ?) "
        "ORDER BY bought DESC, buyer LIMIT ?"
    )
    return [row[0] for row in ledger.select(question, (piece, f"%;{piece};%", most))]
