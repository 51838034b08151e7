"""Where a job stands: told from its facts alone, so there is nothing to set and to forget."""

from __future__ import annotations

from dataclasses import replace

from crankwise.model.job import (
    Advice,
    Choice,
    Complaint,
    JobFile,
    JobState,
    KeptComparison,
    Repair,
    VisitFile,
)

_CLOSED = {"declined", "verified"}


def job_state(file: JobFile) -> JobState:
    """State of a job, the fact that says so, and the next step.

    The visits are read from the first to the last; what happened later counts. A repair asks for
    a recording after it, and only a comparison of that one closes the matter. A visit after a
    closed matter begins another, and so does a new complaint or diagnosis: what was advised and
    done before is past then.
    """
    if not file.visits:
        return JobState("open", "no visit yet", "add the visit with its date and mileage")
    first = 0
    for place in range(1, len(file.visits)):
        earlier = _matter(replace(file, visits=file.visits[first:place]))
        if earlier.state in _CLOSED or _begins_anew(file.visits[place]):
            first = place
    return _matter(replace(file, visits=file.visits[first:]))


def _begins_anew(visit: VisitFile) -> bool:
    facts = [kept.fact for kept in visit.facts]
    complains = any(isinstance(fact, Complaint) and fact.text for fact in facts)
    return complains or any(r.purpose == "diagnosis" for r in visit.recordings)


def _matter(file: JobFile) -> JobState:
    """State of the visits that belong to one matter."""
    repaired = _last_repair(file)
    if repaired is not None:
        return _after_repair(file, repaired)
    return _decision(file) or _measuring(file)


def _last_repair(file: JobFile) -> int | None:
    """Place of the last visit with a repair."""
    places = [
        place
        for place, visit in enumerate(file.visits)
        if any(isinstance(kept.fact, Repair) for kept in visit.facts)
    ]
    return places[-1] if places else None


def _after_repair(file: JobFile, repaired: int) -> JobState:
    visits = file.visits[repaired:]
    when = visits[0].visit.date
    after = [
        (visit, {r.recording.sha256 for r in visit.recordings if r.purpose == "after-repair"})
        for visit in visits
    ]
    if not any(digests for _, digests in after):
        return JobState(
            "repaired", f"repaired on {when}, not recorded since", "record it after the repair"
        )
    compared = _newest(
        [
            kept
            for visit, digests in after
            for kept in visit.comparisons
            if kept.comparison.subject.sha256 in digests
        ]
    )
    if compared is None:
        return JobState(
            "repaired",
            f"repaired on {when}, and recorded since",
            "compare the recording made after the repair",
        )
    level = compared.comparison.verdict.level
    if level != "in-time":
        return JobState(
            "repaired",
            f"repaired on {when}; {_verdict(compared)}",
            "look again: the repair did not bring it into time",
        )
    made = any(file.known_goods)
    return JobState(
        "verified",
        f"repaired on {when}; {_verdict(compared)}",
        "" if made else "keep the recording after the repair as a known-good",
    )


def _decision(file: JobFile) -> JobState | None:
    """What was advised and chosen since the last comparison, or before any."""
    facts = [kept.fact for visit in file.visits for kept in visit.facts]
    facts += [kept.fact for kept in file.facts]
    choices = [fact for fact in facts if isinstance(fact, Choice)]
    if choices:
        chosen = choices[-1]
        if chosen.accepted:
            return JobState("accepted", f"the owner chose: {chosen.text}", "do the repair")
        return JobState("declined", f"the owner chose: {chosen.text}", "")
    advice = [fact for fact in facts if isinstance(fact, Advice)]
    if advice:
        return JobState("advised", f"advised: {advice[-1].text}", "note what the owner chooses")
    return None


def _measuring(file: JobFile) -> JobState:
    compared = _newest([kept for visit in file.visits for kept in visit.comparisons])
    last = file.visits[-1]
    waiting = _not_compared(last)
    if compared is not None and not waiting:
        return JobState("judged", _verdict(compared), "advise the owner")
    if not last.recordings:
        complaint = next(
            (kept.fact.text for kept in last.facts if isinstance(kept.fact, Complaint)), ""
        )
        because = f"visit of {last.visit.date}" + (f": {complaint}" if complaint else "")
        return JobState("to-record", f"{because}; nothing recorded", "record crank and cams")
    measured = {kept.recording_sha256 for kept in last.measurements}
    lacking = [r.recording.name for r in last.recordings if r.recording.sha256 not in measured]
    if lacking:
        return JobState("to-measure", f"{lacking[0]} is not measured", "measure the recording")
    return JobState(
        "to-compare",
        f"{last.recordings[-1].recording.name} is measured",
        "compare it with known-goods",
    )


def _not_compared(visit: VisitFile) -> bool:
    """Whether a visit has something that no comparison has looked at."""
    seen = {kept.comparison.subject.sha256 for kept in visit.comparisons}
    return not visit.recordings or all(r.recording.sha256 not in seen for r in visit.recordings)


def _newest(comparisons: list[KeptComparison]) -> KeptComparison | None:
    return max(comparisons, key=lambda kept: kept.id, default=None)


def _verdict(kept: KeptComparison) -> str:
    verdict = kept.comparison.verdict
    return f"verdict: {verdict.level.replace('-', ' ')}"
