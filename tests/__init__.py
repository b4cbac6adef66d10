"""One BLAS thread for every test, as the command line has: for matrices of fifty rows more of them only cost."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before anything imports numpy
