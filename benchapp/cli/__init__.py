"""The command line: one module a verb, on the same engine as the window."""

import os

# Before numpy is loaded: on small matrices more threads only wait for one another, and for the thread that steps.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
