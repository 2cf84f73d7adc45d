"""The publishing kit: a giveaway's page with the picture, e-mail, embed, workbook and handout that go out with it."""

from growth.lazy import public_names

__getattr__, __dir__ = public_names(__name__)
