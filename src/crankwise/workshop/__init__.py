"""What one does with jobs and the shelf, whatever asks for it: the command line or a page.

Each function takes an open store, chains a few calls of it with the measuring and comparing core,
and returns what was kept.
"""
