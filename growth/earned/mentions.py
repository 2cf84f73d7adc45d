"""What buyers name as what brought them, beside the piece that they signed up with: two views of one income."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from growth.earned.buyers import Buyer
from growth.earned.interval import Interval, share
from growth.earned.ledger import Ledger
from growth.earned.ledger_files import THOUSANDTHS, without_addresses


@dataclass(frozen=True, slots=True)
class Mention:
    """What the buyers of a launch say of one piece.

    first: the first that they name (what began it). last: the last (what settled it). any: they name it at all (it had
    a part). Each is the share of all buyers of the launch, of those who named nothing too; shares of `any` may add to
    more than one. first_amount, last_amount, any_amount: what these buyers paid.
    """

    piece: str
    first: Interval
    last: Interval
    any: Interval
    first_amount: float
    last_amount: float
    any_amount: float


@dataclass(frozen=True, slots=True)
class TwoEstimates:
    """The income of a piece, counted in two ways; amounts paid so far, and how many buyers.

    signed_up: buyers who signed up with it. naming: buyers who name it, wherever they signed up. both: those who did
    both. Together, each buyer once, it is signed_up + naming - both.
    """

    signed_up: float
    signed_up_buyers: int
    naming: float
    naming_buyers: int
    both: float
    both_buyers: int

    @property
    def together(self) -> float:
        """What all of them paid, each buyer counted once."""
        return self.signed_up + self.naming - self.both


def launches(ledger: Ledger) -> list[str]:
    """The names of the launches, by their first sale."""
    question = (
        "SELECT launch FROM buyers WHERE replaced IS NULL AND launch <> '' GROUP BY launch ORDER BY min(bought), launch"
    )
    return [row[0] for row in ledger.select(question)]


def mentions(ledger: Ledger, *, launch: str) -> tuple[int, list[Mention]]:
    """The number of buyers of a launch, and the pieces they named, the most named first."""
    question = "SELECT buyer, amount, named FROM buyers WHERE replaced IS NULL AND launch = ? ORDER BY bought"
    paid: dict[str, int] = defaultdict(int)
    named: dict[str, list[str]] = defaultdict(list)
    for buyer, amount, names in ledger.select(question, (launch,)):
        paid[buyer] += amount
        named[buyer].extend(name for name in names.split(";") if name)
    pieces = {name for names in named.values() for name in names}
    found = [_mention(piece, paid, named) for piece in pieces]
    return len(paid), sorted(found, key=lambda one: (-(one.any.value or 0), -(one.first.value or 0), one.piece))


def two_estimates(piece: str, buyers: Sequence[Buyer]) -> TwoEstimates:
    """What buyers who signed up with a piece paid, and what buyers who name it paid."""
    signed = [buyer for buyer in buyers if buyer.piece == piece]
    naming = [buyer for buyer in buyers if piece in buyer.named]
    both = [buyer for buyer in naming if buyer.piece == piece]
    a, b, c = (float(sum(buyer.paid for buyer in group)) for group in (signed, naming, both))
    return TwoEstimates(a, len(signed), b, len(naming), c, len(both))


def named_by_signed_up(buyers: Sequence[Buyer]) -> dict[tuple[str, str], tuple[int, float]]:
    """The table of what buyers name first by the piece they signed up with.

    Parameters
    ----------
    buyers : as of a day, see `growth.earned.buyers.read_buyers`.

    Returns
    -------
    dict
        (piece signed up with, piece named first) -> (buyers, what they paid). "" stands for none. Each buyer is in one
        cell.
    """
    table: dict[tuple[str, str], tuple[int, float]] = {}
    for buyer in buyers:
        cell = (buyer.piece, buyer.named[0] if buyer.named else "")
        count, paid = table.get(cell, (0, 0.0))
        table[cell] = (count + 1, paid + buyer.paid)
    return dict(sorted(table.items()))


def own_words(ledger: Ledger, *, piece: str, most: int = 5) -> list[str]:
    """The newest words of buyers who name a piece or signed up with it, at most `most`."""
    question = (
        "SELECT words FROM buyers WHERE replaced IS NULL AND words <> '' AND (piece = ? OR ';' || named || ';' LIKE ?) "
        "ORDER BY bought DESC, id DESC LIMIT ?"
    )
    return [without_addresses(row[0]) for row in ledger.select(question, (piece, f"%;{piece};%", most))]


def _mention(piece: str, paid: dict[str, int], named: dict[str, list[str]]) -> Mention:
    groups = (
        [buyer for buyer, names in named.items() if names[:1] == [piece]],
        [buyer for buyer, names in named.items() if names[-1:] == [piece]],
        [buyer for buyer, names in named.items() if piece in names],
    )
    first, last, at_all = (share(count=len(group), of=len(paid)) for group in groups)
    amounts = [sum(paid[buyer] for buyer in group) / THOUSANDTHS for group in groups]
    return Mention(piece, first, last, at_all, *amounts)
