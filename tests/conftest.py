"""What all tests share: hypothesis without a clock (a first call may compile), with the same examples every time."""

from hypothesis import settings

settings.register_profile("sitekit", deadline=None, derandomize=True)
settings.load_profile("sitekit")
