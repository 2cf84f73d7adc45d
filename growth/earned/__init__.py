"""What a giveaway earned: a ledger of pieces, days and buyers, and what can be read off it."""

from growth.lazy import public_names

__getattr__, __dir__ = public_names(__name__)
