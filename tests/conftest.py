"""Settings of all tests."""

from hypothesis import settings

# A slow machine is no fault of the code: seconds are measured in tests/benchmarks only.
settings.register_profile("lotqa", deadline=None)
settings.load_profile("lotqa")
