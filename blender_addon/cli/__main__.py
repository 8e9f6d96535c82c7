"""`python -m blender_addon.cli ...`: the command line beside a `bpy` wheel."""

from __future__ import annotations

import sys

from . import leave, main

if __name__ == "__main__":
    leave(main(sys.argv[1:]))
