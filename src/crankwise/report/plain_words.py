"""What a verdict and its causes mean, in words that need no trade: short, calm, nothing sold."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.drive.hypotheses import kinds
from crankwise.language import say
from crankwise.model.policy import HEALTHY, NONE_OF_THESE, OTHER_PAIRS, WRONG_REFERENCE

if TYPE_CHECKING:
    from crankwise.model.comparison import Basis, Comparison, Level
    from crankwise.model.engine import Engine

WEAR = frozenset({"elongated", "guide-worn", "slack-side"})
"""Kinds of cause that are wear of the timing drive."""
_SENSORS = frozenset({"crank-target", "cam-target"})


def has_chain(engine: Engine | None) -> bool:
    """Whether the camshafts are known to be driven by chains alone."""
    kinds_of_drive = {drive.kind for drive in engine.drives} if engine else set()
    return kinds_of_drive == {"chain"}


def camshaft(role: str) -> str:
    """Name a camshaft.

    >>> camshaft("intake"), camshaft("exhaust-2"), camshaft("cam-1")
    ('intake camshaft', 'exhaust camshaft of bank 2', 'camshaft 1')
    """
    side, _, number = role.partition("-")
    if side == "cam":
        return say("camshaft {number}", number=number)
    if side == "intake":
        return (
            say("intake camshaft of bank {number}", number=number)
            if number
            else say("intake camshaft")
        )
    return (
        say("exhaust camshaft of bank {number}", number=number)
        if number
        else say("exhaust camshaft")
    )


def headline(
    level: Level, *, is_loose: bool, is_repaired: bool = False, is_alike_in_banks: bool = False
) -> str:
    """Say the result in one sentence; ``is_loose``: in place, but with more scatter."""
    if is_alike_in_banks:
        return say("Nothing shows that the timing of your engine has moved.")
    if level == "drifting" and is_loose:
        return say("The timing of your engine is right, but it has become loose.")
    if level == "in-time" and is_repaired:
        return say("The repair is right: the timing of your engine is as it should be.")
    return {
        "in-time": say("The timing of your engine is as it should be."),
        "drifting": say("The timing of your engine has begun to move."),
        "worn": say("The timing of your engine has moved so far that we look for wear."),
        "out-of-time": say("The timing of your engine has moved too far."),
        "not-judged": say("This measurement does not tell whether the timing has moved."),
    }[level]


def measured(engine: Engine | None) -> str:
    """Say what was measured."""
    if has_chain(engine):
        return say(
            "The pistons turn the crankshaft. The camshafts open and close the valves. A chain "
            "keeps them in step. We recorded the sensors of both and measured whether they are "
            "still in step."
        )
    return say(
        "The pistons turn the crankshaft. The camshafts open and close the valves. A chain or "
        "belt keeps them in step. We recorded the sensors of both and measured whether they are "
        "still in step."
    )


def meaning(
    level: Level, *, is_loose: bool, worn: str, far: str, is_alike_in_banks: bool = False
) -> str:
    """Say what a result means; ``worn`` and ``far`` are the two limits in degrees."""
    if is_alike_in_banks:
        return say(
            "Inside each bank of cylinders they are. Whether a whole bank has moved can't be told "
            "from this."
        )
    if level == "drifting" and is_loose:
        return say(
            "They are in step. But they shake more from turn to turn than in a healthy engine. "
            "That can be an early sign of slack."
        )
    return {
        "in-time": say("They are. What we found is no more than healthy engines differ by."),
        "drifting": say(
            "They are not quite in step. The change is more than healthy engines differ by, and "
            "less than the {worn} from which we look for wear.", worn=worn,
        ),
        "worn": say(
            "They are no longer in step. The change is past {worn}, from where we look for worn "
            "or faulty parts. It is still short of {far}, where it is too far.",
            worn=worn, far=far,
        ),
        "out-of-time": say(
            "They are clearly out of step. The change has come to {far} or past it. From there "
            "on the engine computer is expected to report a fault.", far=far,
        ),
        "not-judged": say(
            "This recording does not tell. That is neither good nor bad news. We have to "
            "record again."
        ),
    }[level]  # fmt: skip


def not_told_because(comparison: Comparison) -> str:
    """Say why a recording does not tell."""
    codes = {finding.code for finding in comparison.findings}
    if "phaser-moving" in codes:
        return say("A camshaft adjuster moved while we recorded.")
    if "wheel-unsure" in codes:
        return say("The teeth of the crankshaft's wheel could not be made out for sure.")
    return say("The signals were too unsteady for a clear answer.")


def cause_name(key: str, engine: Engine | None) -> str:
    """Name a cause by its key; of two at once both."""
    if key == OTHER_PAIRS:
        return say("two faults at once")
    names = [_cause(kind, engine)[0] for kind in kinds(key)]
    return names[0] if len(names) == 1 else say("{one}, and {other}", one=names[0], other=names[1])


def cause_note(key: str, engine: Engine | None) -> str:
    """Explain a cause by its key; empty where the name says it all."""
    if key == OTHER_PAIRS:
        return ""
    return " ".join(filter(None, (_cause(kind, engine)[1] for kind in kinds(key))))


def _cause(kind: str, engine: Engine | None) -> tuple[str, str]:
    chain = has_chain(engine)
    return {
        HEALTHY: (say("nothing is wrong"), ""),
        "elongated": (
            (say("a chain that has grown longer"), say(
                "Each joint of the chain wears a little. All of them together let the camshafts "
                "come late."
            ))
            if chain
            else (say("a chain or belt that has grown longer"), say(
                "With wear it grows, link by link or tooth by tooth. Then the camshafts come late."
            ))
        ),
        "guide-worn": (
            say("a worn guide"),
            say(
                "The chain slides along a strip, the guide. Where the strip is worn or broken, "
                "the camshaft behind it comes late."
            ),
        ),
        "slack-side": (
            say("a weak tensioner"),
            say(
                "The tensioner presses on the loose side of the drive. Where it gives way, the "
                "camshafts shake."
            ),
        ),
        "jumped": (
            say("a chain that has jumped a tooth") if chain
            else say("a chain or belt that has jumped a tooth"),
            say("It may have skipped on one of its wheels, or it was fitted a tooth off."),
        ),
        "phaser-off-stop": (
            say("a camshaft adjuster that is not at rest"),
            say(
                "The adjuster turns the camshaft a little while you drive. It may stick, or its "
                "oil pressure may be low."
            ),
        ),
        "crank-target": (
            say("a sensor or its wheel at the crankshaft that has moved"),
            say("Then the valves are in time after all, and only the reading is off."),
        ),
        "cam-target": (
            say("a sensor or its wheel at a camshaft that has moved"),
            say("Then the valves are in time after all, and only the reading is off."),
        ),
        WRONG_REFERENCE: (
            say("a healthy engine that does not match yours"),
            say(
                "We compare with healthy engines. If they are of another build, yours may have "
                "nothing wrong."
            ),
        ),
        NONE_OF_THESE: (say("something that our method does not know"), ""),
    }[kind]  # fmt: skip


def if_left(level: Level, key: str | None, engine: Engine | None) -> tuple[str, ...]:
    """Say what may come of it if nothing is done; ``key`` is the likeliest cause's."""
    if level == "in-time":
        return (
            say("Nothing follows from this result."),
            say("Parts wear with time. The next measurement will show what has changed."),
        )
    if level == "not-judged":
        return (say("Without a result we can't say what may follow."),)
    found = set(kinds(key)) if key and key != OTHER_PAIRS else set()
    if found & (WEAR | {"jumped"}):
        return (*_wear(engine, jumped="jumped" in found), *_valves(engine))
    if "phaser-off-stop" in found:
        return (say("The engine may run rough or lack power, and its warning light may come on."),)
    if found & _SENSORS:
        return (say("The engine computer works with a wrong place. The engine may run badly."),)
    return (say("What may follow depends on the cause. So the cause comes first."),)


def _wear(engine: Engine | None, *, jumped: bool) -> tuple[str, ...]:
    signs = say(
        "Signs to watch for: a rattle after a cold start, the warning light, rough running."
    )
    if jumped:
        return (say("What has jumped once can jump again, and the engine may run badly."), signs)
    goes_on = say("Wear goes on. How fast differs from engine to engine.")
    end = (
        say("In the end the chain can jump a tooth or break. Then the engine stops.")
        if has_chain(engine)
        else say("In the end the chain or belt can jump a tooth or break. Then the engine stops.")
    )
    return goes_on, signs, end


def _valves(engine: Engine | None) -> tuple[str, ...]:
    """Whether pistons meet valves, as the engine file says; what it doesn't is not known."""
    if engine is None or engine.interference == "unknown":
        return ()
    if engine.interference == "no":
        return (say("In this engine the pistons do not reach the valves even then."),)
    # Oldsmobile Calais 2.3 service information, page 1624: very probably at least one valve bends.
    return (
        say(
            "In this engine the pistons can then hit the valves. Most likely valves bend, and "
            "the repair is a larger one."
        ),
    )


def not_known(level: Level, engine: Engine | None) -> tuple[str, ...]:
    """Say what the measurement leaves open, besides how fast it goes."""
    lines = [say("What the parts look like. We have measured, not looked inside.")]
    if level in {"drifting", "worn", "out-of-time"}:
        lines.append(
            say("Which part it is, for sure. We name the likeliest one, not a proven one.")
        )
        if engine is None or engine.interference == "unknown":
            lines.append(
                say(
                    "Whether pistons can hit valves in this engine. Until we know, we treat it "
                    "as if they can."
                )
            )
    return tuple(lines)


def advice(level: Level) -> str:
    """Advise where the workshop has not written down what it advises."""
    return {
        "in-time": say("Nothing needs to be done. We keep this measurement to compare with later."),
        "drifting": say(
            "Let us record again to be sure. If both agree, measure again at the next service."
        ),
        "worn": say(
            "Let us record again to be sure. If both agree, let us look for the cause before it "
            "goes further."
        ),
        "out-of-time": say(
            "Do not put this off. Let us record again to be sure, and then look inside."
        ),
        "not-judged": say("Let us record again."),
    }[level]


def compared_with(basis: Basis, known_goods: int) -> str:
    """Say what the engine was held against, and what that is worth."""
    if basis == "same-vehicle":
        return say(
            "We compared your engine with itself at an earlier time. So small changes count."
        )
    if basis == "one-other-vehicle":
        return say(
            "We compared with one other healthy engine. Two healthy engines can differ by some "
            "degrees, so a small change can't be told."
        )
    if basis == "population":
        return say("We compared with {count} healthy engines of the same kind.", count=known_goods)
    if basis == "bank-against-bank":
        return say(
            "We compared one bank of cylinders with the other. A bank that moved as a whole, or "
            "both alike, would not show."
        )
    return say("We had no healthy engine to compare with, only a limit.")
