"""``python -m plugs``."""

from plugs.cli import main

raise SystemExit(main())
