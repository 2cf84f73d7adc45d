"""How many of the sign-ups buy in the end, when those who have not yet may still, and robots never do.

A mixture cure model (Boag 1949, Journal of the Royal Statistical Society B 11, 15-53): a share c of the sign-ups buy,
after an exponential delay of mean m days; the others never do. With F(d) = 1 - exp(-d / m), a sign-up watched for d
days who has not bought has the likelihood 1 - c p F(d), and one who bought after d days c p exp(-d / m) / m. p is 1;
where the steady trickle of sign-ups is taken for robots, it is the share of that day's sign-ups that are not trickle.

What is held likely beforehand is an assumption, no source: c as Beta(0.7, 5), half of it drawn to the share of the
owner's other pieces as if from twelve sign-ups; m log-normal about 30 days (two in three between 11 and 82), and what
the other pieces tell of it; that the trickle of a shape is robots, 0.6.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from growth.earned.decay import Decay, shapes
from growth.earned.interval import TAILS, Interval

SHARES = np.sin((np.arange(60) + 0.5) / 60 * np.pi / 2) ** 2
MEAN_DELAYS = np.geomspace(2.0, 365.0, 28)
ROBOTS = 0.6  # how likely a steady trickle is robots before anything is known of its buyers
_LIKE_OTHERS = 12.0  # sign-ups that the other pieces' share counts for
_PICKS = 120  # of the shapes with a trickle, for the likelihoods of robots
_STEP = np.gradient(SHARES)


@dataclass(frozen=True, slots=True, eq=False)
class SignUps:
    """The sign-ups of one piece, as the conversion model takes them.

    age, delay: of each buyer, the piece's age at the sign-up and the days to the first purchase, shape (buyers,).
    waiting_age, watched, count: of those who have not bought, in groups: age at the sign-up, days since it, how many.
    """

    age: np.ndarray
    delay: np.ndarray
    waiting_age: np.ndarray
    watched: np.ndarray
    count: np.ndarray

    @classmethod
    def of(cls, ages: Sequence[float], delays: Sequence[float], waiting_by_day: np.ndarray, seen: int) -> SignUps:
        """Groups of a week, of four weeks from the second half-year on. seen: days from publishing to now.

        >>> SignUps.of([], [], np.array([2, 1]), 10).count.tolist()
        [3.0]
        """
        days = np.arange(len(waiting_by_day))
        start = np.where(days < 182, days // 7 * 7, 182 + (days - 182) // 28 * 28)
        starts, which = np.unique(start, return_inverse=True)
        count = np.bincount(which, waiting_by_day, minlength=starts.size)
        middle = np.bincount(which, days + 0.5) / np.maximum(np.bincount(which), 1)
        kept = count > 0
        return cls(
            np.asarray(ages, dtype=float),
            np.asarray(delays, dtype=float),
            middle[kept],
            seen - middle[kept],
            count[kept],
        )

    @property
    def total(self) -> float:
        """Sign-ups in all."""
        return len(self.age) + float(self.count.sum())


@dataclass(frozen=True, slots=True, eq=False)
class ConversionDraws:
    """Equally likely values, each of shape (draws,).

    shape: index into the grid of `decay.shapes()`. robots: the trickle never buys. share: c; delay: m, in days.
    """

    shape: np.ndarray
    robots: np.ndarray
    share: np.ndarray
    delay: np.ndarray


def log_likelihood(sign_ups: SignUps, people: np.ndarray | None = None) -> np.ndarray:
    """Of every pair of share and mean delay, shape (60, 28).

    people: the share of each buyer's and each group's day that is not trickle, shape (buyers + groups,); None: all.
    """
    rate = 1 / MEAN_DELAYS
    buyers = len(sign_ups.delay)
    log = buyers * (np.log(SHARES)[:, None] + np.log(rate)) - rate * (sign_ups.delay + 0.5).sum()
    shown = np.ones(buyers + len(sign_ups.count)) if people is None else people
    log = log + np.log(np.maximum(shown[:buyers], 1e-6)).sum()
    for watched, count, part in zip(sign_ups.watched, sign_ups.count, shown[buyers:], strict=True):
        log = log + count * np.log1p(part * SHARES[:, None] * np.expm1(-watched * rate))
    found: np.ndarray = log
    return found


def delay_evidence(sign_ups: SignUps) -> np.ndarray:
    """log of how likely a piece makes each mean delay, whatever its share is, shape (28,), up to a constant."""
    found: np.ndarray = np.logaddexp.reduce(log_likelihood(sign_ups) + np.log(_share_prior(None))[:, None], axis=0)
    return found - found.max()


def draw(
    sign_ups: SignUps,
    decay: Decay,
    *,
    size: int,
    rng: np.random.Generator,
    delays: np.ndarray | None = None,
    others: tuple[float, float] | None = None,
) -> ConversionDraws:
    """Draw shape of the fading, share and delay together from what a piece's sign-ups and buyers tell.

    delays: the other pieces' `delay_evidence` in sum, shape (28,). others: buyers and sign-ups of the other pieces, as
    far as they have been watched for long.

    >>> from growth.earned import decay
    >>> old = SignUps.of([1.0] * 20, [9.0] * 20, np.array([80]), 2_000)
    >>> found = draw(old, decay.fit(np.array([100])), size=2_000, rng=np.random.default_rng(0))
    >>> bool(0.17 < np.median(found.share) < 0.23)
    True
    """
    grid = shapes()
    prior = np.log(_share_prior(others))[:, None] - 0.5 * np.log(MEAN_DELAYS / 30) ** 2
    if delays is not None:
        prior = prior + delays
    plain = log_likelihood(sign_ups) + prior
    trickling = np.flatnonzero(grid.trickle > 0)
    steps = np.cumsum(decay.weights[trickling])
    # equally likely picks stand for all shapes with a trickle
    picked = np.searchsorted(steps, (np.arange(_PICKS) + 0.5) / _PICKS * steps[-1])
    steady, times = np.unique(trickling[np.minimum(picked, trickling.size - 1)], return_counts=True)
    ages = np.concatenate([sign_ups.age, sign_ups.waiting_age])
    # one entry: (shapes it stands for, robots or not, log of the pairs)
    halved = np.where(grid.trickle > 0, 1 - ROBOTS, 1.0)
    robots = np.empty((len(steady), *plain.shape))
    fading = grid.rate(ages[:, None])[:, steady]
    people = fading / (fading + grid.trickle[steady])
    for place in range(len(steady)):
        robots[place] = log_likelihood(sign_ups, people[:, place]) + prior
    top = max(plain.max(), robots.max() if robots.size else -np.inf)
    as_people = np.exp(plain - top)
    as_robots = np.exp(robots - top)
    people_weight = decay.weights * halved * as_people.sum()
    robot_weight = steps[-1] * times / _PICKS * ROBOTS * as_robots.sum(axis=(1, 2))
    chances = np.concatenate([people_weight, robot_weight])
    chosen = rng.choice(chances.size, size, p=chances / chances.sum())
    is_robots = chosen >= people_weight.size
    shape = np.where(is_robots, steady[np.maximum(chosen - people_weight.size, 0)] if steady.size else 0, chosen)
    pair = np.empty(size, dtype=np.int64)
    pair[~is_robots] = _pairs(as_people, int((~is_robots).sum()), rng)
    for place in np.unique(chosen[is_robots]) - people_weight.size:
        here = chosen == place + people_weight.size
        pair[here] = _pairs(as_robots[place], int(here.sum()), rng)
    c, m = np.divmod(pair, MEAN_DELAYS.size)
    # within its cell of the grid a value is as likely as its neighbours
    angle = (c + rng.random(size)) / SHARES.size * np.pi / 2
    ratio = np.log(MEAN_DELAYS[1] / MEAN_DELAYS[0])
    return ConversionDraws(
        shape, is_robots, np.sin(angle) ** 2, MEAN_DELAYS[m] * np.exp(ratio * (rng.random(size) - 0.5))
    )


def interval_of(values: np.ndarray) -> Interval:
    """The median of draws and the ends between which 95% of them lie.

    >>> found = interval_of(np.arange(201.0))
    >>> round(found.low, 6), found.value, round(found.high, 6)
    (5.0, 100.0, 195.0)
    """
    low, middle, high = np.quantile(values, (TAILS[0], 0.5, TAILS[1]))
    return Interval(float(middle), float(low), float(high))


def bought_by(delays: np.ndarray, watched: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Kaplan-Meier: days since the sign-up, and the share of the sign-ups who had bought by then; shape (days,) each.

    delays: days from sign-up to purchase, shape (buyers,). watched: days since the sign-up of those who have not
    bought, shape (waiting,). One of the two has an entry. Source: Kaplan and Meier (1958), Journal of the American
    Statistical Association 53, 457-481, as SciPy has it.

    >>> bought_by(np.array([1.0, 4.0]), np.array([2, 9, 9]))[1].round(3).tolist()
    [0.2, 0.2, 0.467, 0.467]
    """
    data = stats.CensoredData(uncensored=np.asarray(delays, dtype=float), right=np.asarray(watched, dtype=float))
    curve = stats.ecdf(data).cdf
    return curve.quantiles, curve.probabilities


def _share_prior(others: tuple[float, float] | None) -> np.ndarray:
    base = stats.beta.pdf(SHARES, 0.7, 5.0) * _STEP
    base = base / base.sum()
    if others is None or others[1] <= 0:
        return base
    mean = (others[0] + 0.5) / (others[1] + 4.0)
    like = stats.beta.pdf(SHARES, 0.7 + _LIKE_OTHERS * mean, 5.0 + _LIKE_OTHERS * (1 - mean)) * _STEP
    both: np.ndarray = (base + like / like.sum()) / 2
    return both


def _pairs(weights: np.ndarray, size: int, rng: np.random.Generator) -> np.ndarray:
    flat = weights.ravel()
    return rng.choice(flat.size, size, p=flat / flat.sum())
