"""A client's work from the first meeting on: a folder, what to ask, and how good the last forecast was."""

from growth.lazy import public_names

__getattr__, __dir__ = public_names(__name__)
