"""The API against its own description: requests made from it, right ones and wrong ones."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import httpx2
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis import seed as seeded
from hypothesis import strategies as st
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.core.failures import FailureGroup
from schemathesis.specs.openapi import checks

from attacks.network_server import PATIENCE_S, Tally
from attacks.outcome import Outcome
from crankwise.store import open_store

if TYPE_CHECKING:
    from attacks.network_server import Served

CHECKS: Final = (
    schemathesis.checks.not_a_server_error,
    checks.status_code_conformance,
    checks.content_type_conformance,
    checks.response_headers_conformance,
    checks.response_schema_conformance,
    checks.negative_data_rejection,
)


def described(served: Served, *, tries: int, seed: int) -> Outcome:
    """Ask every operation ``tries`` times with right and with wrong requests.

    In half of the right requests the ids are those of what is there.
    """
    schema = _schema(served)
    there = _there(served)
    tally, operations = Tally(), 0
    for found in schema.get_all_operations():
        operation: Any = found.ok()
        operations += 1
        for mode in GenerationMode:
            _ask(operation, mode, served, there, tally, tries=tries, seed=seed)
    seen = f"{operations} operations, right and wrong requests, {len(CHECKS)} checks of each answer"
    return Outcome("schemathesis over the API", tally.tried, len(tally.through), seen)


def _schema(served: Served) -> Any:
    """Return the description as the server gives it, but for the key, which is always sent."""
    address = f"{served.address}/api/openapi.json"
    description = httpx2.get(address, trust_env=False).json()
    for operations in description["paths"].values():
        for operation in operations.values():
            operation.pop("security", None)
    return schemathesis.openapi.from_dict(description)


def _ask(
    operation: Any,
    mode: GenerationMode,
    served: Served,
    there: dict[str, object],
    tally: Tally,
    *,
    tries: int,
    seed: int,
) -> None:
    headers = {"Authorization": f"Bearer {served.key}"}

    @seeded(seed)
    @settings(
        max_examples=tries, deadline=None, database=None, suppress_health_check=list(HealthCheck)
    )
    @given(case=operation.as_strategy(generation_mode=mode), exists=st.booleans())
    def ask(case: Any, exists: bool) -> None:  # noqa: FBT001  drawn
        if exists and mode is GenerationMode.POSITIVE:
            case.path_parameters.update(
                {name: there[name] for name in case.path_parameters if name in there}
            )
        try:
            case.call_and_validate(
                base_url=served.address, headers=headers, checks=CHECKS, timeout=PATIENCE_S
            )
        except (Exception, FailureGroup) as error:  # noqa: BLE001  whatever it is, it is counted
            tally.note(
                f"{case.method} {case.path}: {' '.join(str(error).split())[:600]}", held=False
            )
        else:
            tally.note("", held=True)

    try:
        ask()
    except Unsatisfiable:
        return  # nothing in this request can be wrong


def _there(served: Served) -> dict[str, object]:
    """Ids that exist, by the names that the description gives them."""
    with open_store(served.shop) as store:
        return {
            "job_id": 2,
            "visit_id": 2,
            "measurement_id": 1,
            "comparison_id": 1,
            "name": "tarn-t20",
            "known_good_id": store.shelf.list()[0].id,
            "sha256": store.recordings.list()[0].sha256,
        }
