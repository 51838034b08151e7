"""The documents' rules, checked fast enough for ten thousand known-goods.

The rules are those of :mod:`crankwise.schemas`; here each class is looked at once, so that only
fields with a rule, or with something inside, are visited.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Final, get_args, get_type_hints

from crankwise.schemas import RULES, broken_rule


@dataclass(frozen=True, slots=True)
class _Plan:
    """Fields of a class with their checks, and fields with dataclasses inside."""

    checks: tuple[tuple[str, Callable[[Any], bool]], ...]
    inner: tuple[str, ...]


_PLANS: Final[dict[type[Any], _Plan]] = {}


def keeps_rules(value: Any) -> bool:
    """Whether a dataclass and all inside it keep the rules."""
    plan = _PLANS.get(type(value)) or _planned(type(value))
    for name, is_broken in plan.checks:
        item = getattr(value, name)
        if item is not None and is_broken(item):
            return False
    for name in plan.inner:
        item = getattr(value, name)
        if isinstance(item, tuple):
            if not all(map(keeps_rules, item)):
                return False
        elif item is not None and not keeps_rules(item):
            return False
    return True


def _planned(kind: type[Any]) -> _Plan:
    hints = get_type_hints(kind)
    checks = [
        (field.name, _check(kind.__name__, field.name))
        for field in fields(kind)
        if (kind.__name__, field.name) in RULES
    ]
    inner = [field.name for field in fields(kind) if _holds_dataclasses(hints[field.name])]
    _PLANS[kind] = _Plan(tuple(checks), tuple(inner))
    return _PLANS[kind]


def _check(kind: str, name: str) -> Callable[[Any], bool]:
    rule = RULES[kind, name]
    if set(rule.schema) == {"minimum"}:
        least = rule.schema["minimum"]
        return lambda value: not value >= least
    if set(rule.schema) == {"enum"}:
        known = frozenset(rule.schema["enum"])
        return lambda value: value not in known
    return lambda value: broken_rule(rule, value)


def _holds_dataclasses(hint: Any) -> bool:
    return is_dataclass(hint) or any(_holds_dataclasses(part) for part in get_args(hint))
