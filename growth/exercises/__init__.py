"""Exercises for a class: questions with a scenario's own numbers, their answers by hand and by the tool."""

from growth.lazy import public_names

__getattr__, __dir__ = public_names(__name__)
