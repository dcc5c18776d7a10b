"""What holds for all tests: linear algebra on one thread, no measure of speed, and a Ctrl-C that works."""

import os
import signal

from hypothesis import HealthCheck, settings

os.environ.setdefault(
    "OPENBLAS_NUM_THREADS", "1"
)  # before numpy comes; on small arrays more threads only spin

# by itself hypothesis fails an example that took 0.2 s, which a busy machine makes of any
settings.register_profile(
    "any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("any machine")

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # A shell has what it starts in the background ignore the interrupt, and everything below inherits
    # that: on a test's terminal Ctrl-C would then do nothing.
    signal.signal(signal.SIGINT, signal.default_int_handler)
