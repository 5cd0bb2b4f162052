"""Settings of all tests."""

from hypothesis import settings

# A slow machine is no fault of the code: seconds are measured in tests/benchmarks only.
# All tests together shall stay below ten minutes on two cores: 60 examples, not 100, where a test
# does not ask for a number of its own.
settings.register_profile("lotqa", deadline=None, max_examples=60)
settings.load_profile("lotqa")
