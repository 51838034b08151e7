"""Attacks on the finished product, each with a count that has to be zero.

``python -m attacks.readers``, ``.numbers``, ``.store`` and ``.network`` each try to break one side
of it; with ``--write`` the outcome goes to ``docs/robustness.md``.
"""
