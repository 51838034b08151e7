"""Words in the reader's language: of screens and reports, and of what the core says.

The core speaks English and knows nothing of this. ``say`` is for texts of screens and pages,
``message`` for those that a table holds until they are said, ``told`` for whole sentences that the
core or a stored document brings along.
"""

from __future__ import annotations

from crankwise.language.current import LANGUAGES, current, using
from crankwise.language.saying import message, say, say_many, told

__all__ = ["LANGUAGES", "current", "message", "say", "say_many", "told", "using"]
