"""press-monitor: watches tire section repairs cure and seals each cycle as a certificate.

It watches and records. It controls nothing and is no safety device.
"""

import os

# Our matrices are small. Threads of the linear algebra library only wait for each other over them, up to half a second
# on a busy computer, and must be told so before numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"
