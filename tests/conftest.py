"""What holds for all tests: numpy's linear algebra works on one thread, as `curewatch` itself starts it."""

import os

os.environ.setdefault(
    "OPENBLAS_NUM_THREADS", "1"
)  # before numpy comes; on small arrays more threads only spin
