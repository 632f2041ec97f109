"""The study in pieces that two processors share and that can be taken up again where they were left."""

from __future__ import annotations

import hashlib
import pickle
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

from fractionkit.files import write_bytes
from fractionkit.mixture import Mixture
from tests.proof.coverage import PAIRS, TERNARIES, Cuts, Further, merged, merged_further, scored, with_more
from tests.proof.simulate import GOOD, PLAIN, benches

Part = Literal["truth", "control", "more"]
#: Runs of a mixture of two and of three components at scale 1, runs of a piece, and what one fit costs beside another.
RUNS: dict[Part, dict[int, int]] = {
    "truth": {2: 100, 3: 48},
    "control": {2: 48, 3: 16},
    "more": {2: 16, 3: 8},
}
PIECE = {2: 12, 3: 6}
FITS = {"truth": 1.0, "control": 1.0, "more": 8.0}
COST = {2: 1.0, 3: 3.0}
ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Job:
    """``runs`` runs of one mixture, read with both qualities of instruments."""

    part: Part
    names: tuple[str, ...]
    piece: int
    runs: int
    seed: int

    @property
    def cost(self) -> float:
        """In fits of a run of two components."""
        return 2.0 * self.runs * FITS[self.part] * COST[len(self.names)]

    @property
    def file(self) -> str:
        """Name of the file that keeps what came of it."""
        text = f"{self.part} {self.names} {self.piece} {self.runs} {self.seed} {fingerprint()}"
        return f"{self.part}-{hashlib.sha256(text.encode()).hexdigest()[:16]}.pickle"

    def done(self) -> list[Cuts] | list[Further]:
        """Distil all runs together, read and fit them; further evidence is of the truth's own runs, not the control's."""
        seed = 1000 * self.seed + self.piece
        drawn = benches(self.names, self.runs, seed, control=self.part == "control")
        mixture = Mixture(self.names)
        if self.part == "more":
            return [one for quality in (GOOD, PLAIN) for one in with_more(mixture, drawn, quality, seed)]
        return [scored(mixture, drawn, quality, seed) for quality in (GOOD, PLAIN)]


@lru_cache(maxsize=1)
def fingerprint() -> str:
    """Of everything that the figures come of, so that nothing computed with another estimator is taken up again."""
    digest = hashlib.sha256()
    files = [*ROOT.glob("fractionkit/**/*"), *ROOT.glob("data/checks/*.csv"), *ROOT.glob("tests/proof/*.py")]
    told = {"tables.py", "aims.py", "report.py", "__main__.py"}
    for path in sorted(files):
        if path.suffix in {".py", ".csv", ".toml", ".json"} and path.name not in told:
            digest.update(path.relative_to(ROOT).as_posix().encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def planned(seed: int, scale: float, parts: Sequence[Part], only: str | None = None) -> list[Job]:
    """All pieces, part by part, dearest first; ``only``: the mixture of these names, joined with " + "."""
    jobs = []
    for part in parts:
        for names in (*TERNARIES, *PAIRS):
            if only is not None and " + ".join(names) != only:
                continue
            n = len(names)
            left = max(2, round(scale * RUNS[part][n]))
            pieces = -(-left // PIECE[n])
            for piece in range(pieces):
                share = left // pieces + (piece < left % pieces)
                jobs.append(Job(part, names, piece, share, seed))
    return sorted(jobs, key=lambda job: (list(RUNS).index(job.part), -job.cost))


def run(jobs: Sequence[Job], workers: int, keep: Path | None) -> dict[Job, list[Cuts] | list[Further]]:
    """What came of each job; with ``keep``, files of jobs already done are read and new ones written there."""
    found: dict[Job, list[Cuts] | list[Further]] = {}
    left = []
    for job in jobs:
        file = None if keep is None else keep / job.file
        if file is not None and file.exists():
            found[job] = pickle.loads(file.read_bytes())
        else:
            left.append(job)
    total = sum(job.cost for job in jobs)
    _show(found, total)
    with ProcessPoolExecutor(workers) as pool:
        waiting = {pool.submit(job.done): job for job in left}
        for future in as_completed(waiting):
            job = waiting[future]
            found[job] = future.result()
            if keep is not None:
                write_bytes(keep / job.file, pickle.dumps(found[job]))
            _show(found, total)
    sys.stderr.write("\n")
    return found


def _show(found: dict[Job, list[Cuts] | list[Further]], total: float) -> None:
    part = sum(job.cost for job in found) / total if total else 1.0
    sys.stderr.write(f"\r[{'#' * round(40 * part):<40}] {100.0 * part:.0f} %")


def cuts_of(found: dict[Job, list[Cuts] | list[Further]], part: Part) -> list[Cuts]:
    """Pieces put together: one entry a mixture and quality, mixtures as in `coverage`."""
    parts: dict[tuple[tuple[str, ...], str], list[Cuts]] = {}
    for one in _of(found, part):
        assert isinstance(one, Cuts)
        parts.setdefault((one.names, one.quality), []).append(one)
    return [merged(pieces) for pieces in parts.values()]


def further_of(found: dict[Job, list[Cuts] | list[Further]]) -> list[Further]:
    """As `cuts_of`: one entry a mixture, quality and kind of further evidence."""
    parts: dict[tuple[tuple[str, ...], str, str], list[Further]] = {}
    for one in _of(found, "more"):
        assert isinstance(one, Further)
        parts.setdefault((one.names, one.quality, one.kind), []).append(one)
    return [merged_further(pieces) for pieces in parts.values()]


def _of(found: dict[Job, list[Cuts] | list[Further]], part: Part) -> list[Cuts | Further]:
    order = [tuple(names) for names in (*TERNARIES, *PAIRS)]
    jobs = sorted((job for job in found if job.part == part), key=lambda job: (order.index(job.names), job.piece))
    return [one for job in jobs for one in found[job]]
