import os

# Before numpy is loaded: two processes whose products of small matrices each take all cores wait for one another.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
