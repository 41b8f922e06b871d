"""Settings of every test: the same input gives the same examples on every machine.

``HYPOTHESIS_PROFILE=explore`` draws new examples instead, to look for what the fixed ones miss.
"""

import os

from hypothesis import settings

settings.register_profile(
    "repeatable", max_examples=20, derandomize=True, database=None, deadline=None
)
settings.register_profile("explore", max_examples=1000, deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeatable"))

# Nothing is kept from one test to the next, nor in the folder of whoever runs them.
os.environ["TWINANGLE_KEPT"] = ""
