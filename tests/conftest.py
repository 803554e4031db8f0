"""Settings every test runs under: no window opens, and random cases repeat."""

import os

from hypothesis import settings

os.environ["MPLBACKEND"] = "Agg"

# Examples must not depend on the machine's speed or on an earlier run's database.
settings.register_profile("conewright", deadline=None, derandomize=True)
settings.load_profile("conewright")
