#!/usr/bin/env python3
"""Starts Edgetally: `python3 manage.py demo`.

Kept readable by very old Pythons, so that they can say in one sentence that they are too old.
"""

import sys

OLDEST = (3, 11)
NEWEST = (3, 13)

if not OLDEST <= sys.version_info[:2] <= NEWEST:
    sys.stderr.write(
        "Edgetally needs Python %d.%d to %d.%d, and this is Python %d.%d; start it with a fitting one, "
        "such as: python3.12 manage.py demo\n" % (OLDEST + NEWEST + tuple(sys.version_info[:2]))
    )
    sys.exit(1)

if __name__ == "__main__":
    from config import bootstrap

    sys.exit(bootstrap.start(sys.argv))
