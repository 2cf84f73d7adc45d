"""The workplace in which the tests of sweeps write their files."""

import pytest
from sweep_tools import Workplace


@pytest.fixture
def workplace(tmp_path):
    return Workplace(tmp_path)
