"""The slider calculator: one front end, live in JupyterLab and mounted unchanged in the published page."""

from growth.lazy import public_names

__getattr__, __dir__ = public_names(__name__)
