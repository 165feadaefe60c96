"""Settings shared by all tests."""

from hypothesis import settings

settings.register_profile("canlog", deadline=None, derandomize=True, max_examples=100)
settings.load_profile("canlog")
