"""The adversary from the command line: exit code 1 when a rule was broken."""

import argparse
import sys
import tempfile
from pathlib import Path
from time import monotonic, time

from tests import warm
from tests.adversary.attacks import ATTACKS, attack


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.adversary", description=__doc__)
    parser.add_argument("--long", action="store_true", help="hours instead of two minutes")
    parser.add_argument("--seed", type=int, default=int(time()))
    parser.add_argument("--only", choices=sorted(ATTACKS), action="append")
    parser.add_argument("--most", type=int, default=0, help="how many of each, whatever the time")
    parser.add_argument("--warm", action="store_true", help="commands begin as forks: quicker")
    asked = parser.parse_args()
    warm.on = asked.warm
    broken = 0
    for name in asked.only or ATTACKS:
        began = monotonic()
        with tempfile.TemporaryDirectory() as folder:
            run = attack(name, asked.seed, Path(folder), asked.long, asked.most)
        counts = ", ".join(f"{n} {what}" for what, n in run.counts.items())
        print(f"{name}: seed {run.seed}, {monotonic() - began:.0f} s: {counts}", flush=True)
        for violation in run.found.values():
            broken += 1
            print(f"  {violation}", flush=True)
    print(f"{broken} rules broken")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
