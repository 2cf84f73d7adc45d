"""What the tests share: this folder on the path (for `plain`, `naive`, `generated`), and reproducible property tests."""

from hypothesis import HealthCheck, settings

settings.register_profile("house", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("house")
