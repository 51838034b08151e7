"""``python -m crankwise``: the command line where its own command is not on the path."""

from __future__ import annotations

from crankwise.cli import main

main()
