"""Texts with a few things wrong, for the long attack beside this file."""

from __future__ import annotations

import random

BITS = [
    "", " ", "\t", "\n", "-", ":", "{", "}", "[", "]", "'", '"', "#", "&a", "*a", "!!x", "|", ">", "%", "@", "`", "\\",
    "\x00", "\x1b[31m", "\ufeff", "\u202e", "\u2028", "\\ud800", "é", "１", "0", "-1", "1e309", "-0", ".inf", ".nan",
    "1e-320", "99999999999999999999", "012", "0x1F", "1_000", "12:30", "no", "null", "~", "true", "2027-13", "{goal}",
    "{goal_month",
    "{a.closing_mrr}", "=cmd()", "<script>", "x" * 5000, "[" * 60, "2024-02-30", "1,5", "customer",
]  # fmt: skip


def mutated(text: str, rng: random.Random) -> str:
    """A text with one to four things changed: characters, words, lines or their indentation."""
    for _ in range(rng.randint(1, 4)):
        lines = text.split("\n")
        at, kind = rng.randrange(len(lines)), rng.randrange(7)
        if kind == 0:
            lines[at] = mutated_word(lines[at], rng)
        elif kind == 1:
            del lines[at]
        elif kind == 2:
            lines.insert(at, lines[rng.randrange(len(lines) or 1)])
        elif kind == 3:
            lines[at] = " " * rng.randrange(6) + lines[at].lstrip()
        elif kind == 4:
            cut = rng.randrange(len(lines[at]) + 1)
            lines[at] = lines[at][:cut] + rng.choice(BITS) + lines[at][cut:]
        elif kind == 5:
            key, colon, _ = lines[at].partition(":")
            lines[at] = f"{key}{colon} {rng.choice(BITS)}"
        else:
            rng.shuffle(lines[at : at + 3])
        text = "\n".join(lines)
    return text


def mutated_word(line: str, rng: random.Random) -> str:
    """A line with one of its words replaced."""
    words = line.split(" ")
    words[rng.randrange(len(words))] = rng.choice(BITS)
    return " ".join(words)
