"""What the readings of a run say of courses of the distillation, near normal.

Given a course the readings of a cut are near linear over what strays about it, and in the shared errors: so what strays is
one more normal error of the predictions at the course's composition, and the shared errors are integrated out in closed
form. A cut may also follow no course: how far each does is found together with the errors (a mixture's lower bound:
Jordan et al., Machine Learning 37 (1999) 183), so that one cut that lies elsewhere does not carry the course away. This is
to aim by; what is aimed at is weighed exactly in `along`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from fractionkit.courses.stray import DEVIATION, SLIP, About
from fractionkit.inference.channels import Detected, Normal, Range
from fractionkit.inference.joint import Block, Channel

Array = NDArray[np.float64]
#: From compositions (V, G, n) to the readings of all V vessels laid on them.
Lay = Callable[[Array], Block]

SETTLED = 2  # times that the errors are found anew, and who follows
LEAST_TEST = -4.6  # logarithm: a test that a course contradicts may be wrong, or the cut strays


@dataclass(frozen=True)
class Read:
    """R readings of V vessels at G compositions: prediction with no shared error less value, off (V, G, R), its slopes
    (V, G, R, p) in the errors, variance (V, G, R); tests : (V, G) log likelihood of the qualitative tests.

    Predictions are made linear in the errors at ``mode``. A reading that was not taken has slope 0, off 0, variance 1.
    """

    off: Array
    slope: Array
    variance: Array
    tests: Array

    @classmethod
    def of(cls, block: Block, mode: Array) -> Read:
        """What a block's channels hold."""
        shape = block.nodes.w.shape[:2]
        off, slope, variance, tests = [], [], [], np.zeros(shape)
        for channel in block.channels:
            scatter = channel.scatter
            if isinstance(scatter, Detected):
                tests = tests + np.maximum(scatter.log_likelihood(channel.prediction.copy()), LEAST_TEST)
                continue
            own = scatter.scale()
            own = np.broadcast_to(own.reshape(len(own), -1), shape)
            taken = np.isfinite(own)
            moved = np.zeros((*shape, len(mode)))
            moved[..., channel.errors] = np.where(taken[..., None], channel.slope(mode), 0.0)
            gap = channel.at(mode) - _value(channel)[:, None] - moved @ mode
            off.append(np.where(taken, gap, 0.0))
            slope.append(moved)
            variance.append(np.where(taken, own, 1.0) ** 2)
        if not off:
            return cls(np.zeros((*shape, 0)), np.zeros((*shape, 0, len(mode))), np.zeros((*shape, 0)), tests)
        return cls(np.stack(off, axis=2), np.stack(slope, axis=2), np.stack(variance, axis=2), tests)


def _value(channel: Channel) -> Array:
    """(V,) what was read; of a range its middle."""
    scatter = channel.scatter
    if isinstance(scatter, Range):
        return np.asarray(0.5 * (scatter.start + scatter.end))
    assert isinstance(scatter, Normal)
    return scatter.value


@dataclass(frozen=True)
class Told:
    """Readings at M courses. w : (V, M, n). white : (V, M, R, p + 1) slopes in the errors, and how far off, in standard
    deviations of the readings and what strays; root : (V, M, R, R) of the covariance; log_root : (V, M) half the logarithm of
    how much it is more than the readings' own. stray : (V, M, R, d) change over one scale of what strays.
    """

    w: Array
    read: Read
    stray: Array
    root: Array
    white: Array
    log_root: Array

    @classmethod
    def of(cls, w: Array, lay: Lay, mode: Array) -> Told:
        """Readings laid on compositions (V, M, n) and one scale off in every coordinate."""
        count, d = w.shape[1], w.shape[2] - 1
        about = About.of(w)
        whole = Read.of(lay(np.concatenate([w, *(about.fractions(step) for step in np.eye(d))], axis=1)), mode)
        read = Read(*(getattr(whole, f.name)[:, :count] for f in fields(Read)))
        at = (whole.off + whole.slope @ mode).reshape(len(w), d + 1, count, -1)
        stray = np.moveaxis(at[:, 1:] - at[:, :1], 1, -1)
        covariance = DEVIATION**2 * (stray @ stray.swapaxes(-1, -2))
        kinds = np.arange(covariance.shape[-1])
        covariance[..., kinds, kinds] += read.variance
        root = rooted(covariance)
        white = solved(root, np.concatenate([read.slope, read.off[..., None]], axis=-1))
        log_root = np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(axis=-1) - 0.5 * np.log(read.variance).sum(axis=-1)
        return cls(w, read, stray, root, white, log_root)

    def take(self, courses: NDArray[np.intp]) -> Told:
        """Some of the courses."""
        read = Read(*(getattr(self.read, f.name)[:, courses] for f in fields(Read)))
        rest = (getattr(self, name)[:, courses] for name in ("w", "stray", "root", "white", "log_root"))
        w, stray, root, white, log_root = rest
        return Told(w, read, stray, root, white, log_root)

    @classmethod
    def joined(cls, parts: Sequence[Told]) -> Told:
        """All courses of several."""
        read = Read(*(np.concatenate([getattr(p.read, f.name) for p in parts], axis=1) for f in fields(Read)))
        names = ("w", "stray", "root", "white", "log_root")
        w, stray, root, white, log_root = (np.concatenate([getattr(p, name) for p in parts], axis=1) for name in names)
        return cls(w, read, stray, root, white, log_root)


def rooted(covariance: Array) -> Array:
    """Cholesky's factor of (..., k, k), row by row, k being one to four: for hundreds of so small matrices that is several
    times as fast as a library's call for each.
    """
    root = np.zeros_like(covariance)
    for i in range(covariance.shape[-1]):
        for j in range(i):
            known = (root[..., i, :j] * root[..., j, :j]).sum(axis=-1)
            root[..., i, j] = (covariance[..., i, j] - known) / root[..., j, j]
        root[..., i, i] = np.sqrt(covariance[..., i, i] - (root[..., i, :i] ** 2).sum(axis=-1))
    return root


def solved(root: Array, values: Array) -> Array:
    """Values (..., k, r) in units of a lower triangular root (..., k, k)."""
    found = np.empty_like(values)
    for i in range(root.shape[-1]):
        known = (root[..., i, :i, None] * found[..., :i, :]).sum(axis=-2)
        found[..., i, :] = (values[..., i, :] - known) / root[..., i, i, None]
    return found


@dataclass(frozen=True)
class Near:
    """Shared errors given each of M courses: root (M, p, p) of their precision, mean (M, p); log_evidence (M,); follows :
    (V, M) how far each vessel does. rows : (M, V R, p) slopes of all readings, in their standard deviations and as far as
    their vessels follow; gap : (M, V R) how far off they are with the mean errors.
    """

    root: Array
    mean: Array
    log_evidence: Array
    follows: Array
    rows: Array
    gap: Array

    @classmethod
    def of(cls, told: Told, mode: Array, free: Array) -> Near:
        """With ``free`` (V,): log likelihood of each vessel's readings were it to follow no course."""
        vessels, count, kinds, wide = told.white.shape
        tests, mean = told.read.tests, np.broadcast_to(mode, (count, wide - 1))
        own = tests - told.log_root + np.log1p(-SLIP)
        other = free[:, None] + np.log(SLIP)
        flat = told.white.transpose(1, 0, 2, 3)
        for _ in range(SETTLED):
            gap = told.white[..., -1] + (told.white[..., :-1] @ mean[:, :, None])[..., 0]
            odds = own - 0.5 * (gap**2).sum(axis=2) - other
            follows = 1.0 / (1.0 + np.exp(np.clip(-odds, -700.0, 700.0)))
            rows = (flat * np.sqrt(follows.T)[..., None, None]).reshape(count, vessels * kinds, wide)
            product = rows.swapaxes(1, 2) @ rows
            precision, pull = np.eye(wide - 1) + product[:, :-1, :-1], -product[:, :-1, -1:]
            mean = np.linalg.solve(precision, pull)[..., 0]
        root = np.linalg.cholesky(precision)
        log = -0.5 * product[:, -1, -1] + 0.5 * (pull[..., 0] * mean).sum(axis=1)
        log -= np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
        log += (follows * own + (1.0 - follows) * other + _entropy(follows)).sum(axis=0)
        gap = rows[..., -1] + (rows[..., :-1] @ mean[..., None])[..., 0]
        return cls(np.asarray(root, dtype=np.float64), mean, log, follows, rows[..., :-1], gap)


def _entropy(share: Array) -> Array:
    """Of a yes or no with this probability."""
    inside = np.clip(share, 1e-300, 1.0)
    other = np.clip(1.0 - share, 1e-300, 1.0)
    return np.asarray(-inside * np.log(inside) - other * np.log(other))
