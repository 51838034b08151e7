"""Which channel is the crank, which are cams, which are neither."""

from crankwise.roles.assign import Roles, assign

__all__ = ["Roles", "assign"]
