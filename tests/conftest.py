"""What the tests share: this folder on the path (for `plain`, `naive`, `generated`), and reproducible property
tests."""

import os
import signal
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small fits: its threads cost more than they save
import pytest
from hypothesis import HealthCheck, settings

if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:  # in a shell's background; a process started from here
    signal.signal(signal.SIGINT, signal.default_int_handler)  # would ignore the Ctrl-C that a test sends it

settings.register_profile("house", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("house")


@pytest.fixture(scope="session")
def one_browser():
    """One Chromium for all the tests of a worker: Playwright runs once in a process."""
    pytest.importorskip("playwright")
    from calculator_page import CHROMIUM, chromium

    if not CHROMIUM:
        pytest.skip("chromium is not installed")
    with chromium() as running:
        yield running


@pytest.fixture
def browser(one_browser):
    """The worker's Chromium. A test's pages are emptied or closed after it: one left as it is keeps costing memory and
    time."""
    from browser_tabs import empty

    yield one_browser
    empty(one_browser)


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the commands read, in a folder of its own."""
    from command_lines import make_inputs

    return make_inputs(tmp_path_factory.mktemp("in"))


@pytest.fixture
def without_kernel(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages, kits and sites are made without running the notebook, which takes most of the time."""
    pytest.importorskip("papermill")
    from made_page import without_kernel

    for module in ("giveaway.publishing", "kit.kit_files", "kit.web_site"):
        monkeypatch.setattr(f"growth.{module}.made_page", without_kernel)
