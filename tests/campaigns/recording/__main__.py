"""The full campaign: `python -m tests.campaigns.recording`. Prints what was driven and found; twenty minutes."""

import argparse
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.campaigns.recording.simulated_user import Interruption, User

MIXES: Sequence[Sequence[Interruption]] = ((), ("ctrl-c",), (), ("hang-up",), ("end-of-input",), ())


def recorded(seed: int, interruptions: Sequence[Interruption]) -> User:
    """One user's whole recording; an AssertionError tells of a row lost, doubled or out of order."""
    with TemporaryDirectory() as folder:
        user = User(seed, Path(folder), interruptions)
        user.record()
        return user


def _told(title: str, users: Iterator[User], wanted: int, *, kills: bool) -> None:
    start, done, readings, doubted, resumed = time.monotonic(), 0, 0, 0, 0
    ways: Counter[str] = Counter()
    places: Counter[str] = Counter()
    count = 0
    for user in users:
        count += 1
        readings += len(user.accepted)
        doubted += user.doubted
        resumed += user.resumed
        ways[
            ("scale in line", "hung plates", "anchor on scale")[user.way - 1] + (", locks" if user.locks > 1 else "")
        ] += 1
        places.update(
            "recording" if p in ("zero", "reading", "length", "flat-end", "check-load") else "set-up"
            for p in user.interrupted_at
        )
        done = sum(places.values()) if kills else count
        if done >= wanted:
            break
    print(f"{title}: {count} recordings, {readings} accepted entries, each in its file exactly once and in order")
    print(f"  ways: {dict(ways)}; interruptions: {dict(places)}; resumed {resumed}; questioned {doubted}")
    print(f"  {time.monotonic() - start:.0f} s", flush=True)


def main() -> None:
    """Drive all users."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--recordings", type=int, default=200)
    options.add_argument("--kills", type=int, default=200)
    options.add_argument("--workers", type=int, default=2)
    asked = options.parse_args()
    pool = ThreadPoolExecutor(asked.workers)
    users = pool.map(lambda seed: recorded(seed, MIXES[seed % len(MIXES)]), range(asked.recordings))
    _told("Noise, slips, locking scales, Ctrl-C, end of input, lost terminals", users, asked.recordings, kills=False)
    start = 10_000
    killed = pool.map(lambda seed: recorded(seed, ("kill", "kill")), range(start, start + asked.kills))
    _told("Killed (SIGKILL) at random moments", killed, asked.kills, kills=True)
    pool.shutdown(cancel_futures=True)


if __name__ == "__main__":
    main()
