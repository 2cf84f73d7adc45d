"""What is read off a forecast: each measure a number, or the reason why there is none."""

from growth.lazy import public_names

__getattr__, __dir__ = public_names(__name__)
