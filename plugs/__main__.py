"""``python -m plugs``."""

import sys

if not sys.flags.safe_path:
    sys.path.append(sys.path.pop(0))  # the present folder: a recipe named like a library is none

from plugs.cli import main

raise SystemExit(main())
