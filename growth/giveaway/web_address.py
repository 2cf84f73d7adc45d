"""Addresses on the web, as the words of a page may hold them."""

from __future__ import annotations

import re
from typing import Annotated
from urllib.parse import urlsplit

from pydantic import AfterValidator, StringConstraints

from growth.scenario.section import broken


def _address(value: str) -> str:
    """An https address (or http on this machine), with nothing in it that a browser could read as anything else."""
    odd = any(character in value for character in " \t\r\n\"'<>\\^`{|};,") or not value.isascii()
    try:
        parts = urlsplit(value)
    except ValueError:  # brackets that hold no address of a host
        raise broken("an address with the name of a host behind https://", value) from None
    try:
        port = parts.port
    except ValueError:
        port = 0
    if port == 0:
        raise broken("an address whose port, behind the colon, is a number from 1 to 65535", value)
    local = parts.scheme == "http" and parts.hostname in ("localhost", "127.0.0.1", "::1")
    whole = bool(re.fullmatch(r"[a-z0-9.:-]+", parts.hostname or "")) and parts.username is None
    if odd or not whole or not (parts.scheme == "https" or local):
        raise broken("an address that begins with https://", value, "Quotes, spaces and other schemes are refused.")
    return value


Address = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500), AfterValidator(_address)]
