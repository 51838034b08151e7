"""Migrations of the store, forward only."""
