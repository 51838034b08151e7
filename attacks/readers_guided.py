"""Files of one kind changed where it leads to code not run before, by atheris.

    python -m attacks.readers_guided "change dumps" --runs 20000 --corpus FOLDER

The folder keeps the files that led somewhere new, and those that got through as ``crash-…``. It
begins with our valid files. Atheris comes with the development packages for Python 3.11 on Linux.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from itertools import count
from pathlib import Path

import atheris

LONGEST_BYTES = 6000
INSTRUMENTED = ["crankwise." + name for name in ("readers", "document", "drive", "judge", "wheel")]

with atheris.instrument_imports(include=INSTRUMENTED):
    from attacks.readers_mutate import mutated
    from attacks.readers_try import KINDS, outcome


def main() -> None:
    """Fuzz one kind of file; libFuzzer ends the process."""
    parser = argparse.ArgumentParser(prog="attacks.readers_guided")
    parser.add_argument("kind", choices=list(KINDS))
    parser.add_argument("--runs", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--corpus", type=Path, required=True)
    chosen = parser.parse_args()
    make, route = KINDS[chosen.kind]
    seeds = {name: content for name, content in make().items() if len(content) < LONGEST_BYTES}
    chosen.corpus.mkdir(parents=True, exist_ok=True)
    for name, content in seeds.items():
        (chosen.corpus / f"seed-{name}").write_bytes(content)
    numbers = count()

    def change(data: bytes, most: int, seed: int) -> bytes:
        """Ours, which knows the format, as often as libFuzzer's own."""
        if seed % 2:
            return bytes(atheris.Mutate(data, most))
        _, content = mutated(chosen.kind, {"any": data or b"0"}, random.Random(seed))
        return content[:most]

    with tempfile.TemporaryDirectory(prefix="crankwise-guided-") as folder:
        path = Path(folder) / next(iter(seeds))

        def one(data: bytes) -> None:
            path.write_bytes(data)
            outcome(route, path, next(numbers))

        options = (
            f"-runs={chosen.runs}", f"-seed={chosen.seed}", f"-max_len={LONGEST_BYTES}",
            "-timeout=60", "-rss_limit_mb=3000", f"-artifact_prefix={chosen.corpus}/",
        )  # fmt: skip
        atheris.Setup([sys.argv[0], *options, str(chosen.corpus)], one, custom_mutator=change)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
