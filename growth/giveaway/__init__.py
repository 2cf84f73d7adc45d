"""From a tuned notebook to one self-contained page: the words, the sections, the exporter, the page."""

from growth.lazy import public_names

__getattr__, __dir__ = public_names(__name__)
