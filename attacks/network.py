"""Attacks on the server: prints the section ``network`` of docs/robustness.md.

    python -m attacks.network            everything, on this computer only
    python -m attacks.network --tries 10 so many requests of each kind to every operation
    python -m attacks.network --write    everything, and into docs/robustness.md

The server runs twice, each in a process of its own: for this computer alone, and as others reach
it, with a pass-phrase. Visitors come from where a proxy on the same computer says.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

ROOT = Path(__file__).resolve().parents[1]
if not __package__:  # run by its path instead of as a module
    sys.path.insert(0, str(ROOT))

from attacks import network_access as access  # noqa: E402  the path comes first
from attacks import network_api, network_load, network_paths, network_raw, network_text  # noqa: E402
from attacks.network_server import serving  # noqa: E402
from attacks.outcome import Outcome, as_table, write_section  # noqa: E402
from crankwise.store import open_store  # noqa: E402
from crankwise.workshop.scenario import fill_store  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from attacks.network_server import Served

FULL = 100
"""Requests of each kind to every operation of the API."""
QUICK = 4


def main(arguments: list[str] | None = None) -> int:
    """Attack, print, and write if asked; 0 if the server held, else 1."""
    parser = argparse.ArgumentParser(prog="attacks.network", description=__doc__.split("\n")[0])
    parser.add_argument("--tries", type=int, default=FULL, help="requests to every operation")
    parser.add_argument("--seed", type=int, default=1, help="of the requests made up")
    parser.add_argument("--write", action="store_true", help="put it into docs/robustness.md")
    chosen = parser.parse_args(arguments)
    if chosen.write and chosen.tries != FULL:
        parser.error("--write needs the full run; leave out --tries")
    begun = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="crankwise-network-") as name:
        outcomes = list(run(Path(name), tries=chosen.tries, seed=chosen.seed))
    print(as_table(outcomes))
    minutes = (time.monotonic() - begun) / 60
    if chosen.write:
        write_section("network", outcomes, note=f"Takes {minutes:.0f} minutes.")
    print(f"{minutes:.1f} minutes", file=sys.stderr)
    return 0 if all(outcome.holds for outcome in outcomes) else 1


def run(folder: Path, *, tries: int, seed: int) -> Iterator[Outcome]:
    """Fill two stores, serve them, and attack."""
    shops = folder / "local", folder / "shared"
    for shop in shops:
        with open_store(shop) as store:
            fill_store(store, folder / f"{shop.name} recordings")
    with serving(shops[0], signs_in=False) as local, serving(shops[1], signs_in=True) as shared:
        for attack in attacks(local, shared, tries=tries, seed=seed):
            begun = time.monotonic()
            outcome = attack()
            print(
                f"{outcome.attack}: {outcome.tried} tried, {outcome.through} through, "
                f"{time.monotonic() - begun:.0f} s",
                file=sys.stderr,
            )
            yield outcome
        yield network_paths.logs(local, shared)


def attacks(
    local: Served, shared: Served, *, tries: int, seed: int
) -> Iterator[Callable[[], Outcome]]:
    """Yield all attacks, those that leave most behind last."""
    is_full = tries >= FULL
    yield lambda: access.forged_names(local, shared)
    yield lambda: access.other_sites(local, shared)
    yield lambda: access.sessions(shared)
    yield lambda: access.keys(local, shared)
    yield lambda: access.led_away(shared)
    yield lambda: network_paths.paths(local)
    yield lambda: network_paths.methods(local, shared)
    yield lambda: network_paths.headers_of_answers(local, shared)
    yield lambda: network_raw.malformed(local, shared)
    yield lambda: network_raw.wrong_types(local)
    yield lambda: network_raw.oversize(local, shared)
    yield lambda: network_load.bombs(local)
    yield lambda: network_load.slow_clients(local, count=100 if is_full else 20)
    yield lambda: network_load.uploads_at_once(local, count=200 if is_full else 20)
    yield lambda: network_text.texts(local)
    yield lambda: network_api.described(local, tries=tries, seed=seed)
    yield lambda: access.guessing(shared, tries=300 if is_full else 40)


if __name__ == "__main__":
    sys.exit(main())
