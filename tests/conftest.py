"""What holds for all tests: linear algebra on one thread, as `curewatch` has it; no measure of speed."""

import os

from hypothesis import HealthCheck, settings

os.environ.setdefault(
    "OPENBLAS_NUM_THREADS", "1"
)  # before numpy comes; on small arrays more threads only spin

# by itself hypothesis fails an example that took 0.2 s, which a busy machine makes of any
settings.register_profile(
    "any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("any machine")
