"""What the tests share: this folder on the path (for `plain`, `naive`, `generated`), and reproducible property
tests."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small fits: its threads cost more than they save

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile("house", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("house")


@pytest.fixture(scope="session")
def browser():
    """One Chromium for all the tests of a worker: Playwright runs once in a process."""
    pytest.importorskip("playwright")
    from calculator_page import CHROMIUM, chromium

    if not CHROMIUM:
        pytest.skip("chromium is not installed")
    with chromium() as running:
        yield running
