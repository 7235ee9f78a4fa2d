"""The projection's model of one site written a second time, for numpyro's NUTS sampler.

Nothing is taken from the fit but its table of priors and the lists of what is discrete. Rate,
visit spread and how far formulations part are continuous and normal in their logs, the onset of a
late loss is uniform, visits are Student t, all effects are non-centred. What the panels of a group
share at a visit is integrated out (compound symmetry), and the combinations k of common share, kind
of slow loss and panel scale are summed over: without either the sampler is slower. Courses are
sampled one by one, as their weights are not their evidence.
"""

from __future__ import annotations

import time
from itertools import product

import jax
import jax.numpy as jnp
import numpy as np
import numpyro
from numpyro import distributions as dist
from numpyro.infer import NUTS, init_to_uniform

from aging.decay.nodes import COMMON_SHARES, PANEL_SCALES

numpyro.enable_x64()
LATE, TAIL, ACCEPT = 36.0, 4.0, 0.95
NEAR = 0.5  # of the priors' centres, where a chain starts; from afar one may never come back
OWN, SLOW = ("initial", "loss", "pace", "dryness"), ("drift", "drift_wide", "late")
DISCRETE = list(product(COMMON_SHARES, SLOW, PANEL_SCALES))


def course_of_loss(number, log_parameter, months, span):
    """Loss over time and its derivative by the log of its parameter."""

    def shape(log_parameter):
        parameter = jnp.exp(log_parameter)
        kt = parameter * months
        return jnp.stack([
            1 - jnp.exp(-kt),
            1 - jnp.exp(-(jnp.maximum(kt, 1e-12) ** 0.6)),
            1 - (1 + kt) * jnp.exp(-kt),
            jnp.where(months > 0, (jnp.maximum(months, 1e-9) / span) ** parameter, 0.0),
        ])[number]  # fmt: skip

    return jax.jvp(shape, (log_parameter,), (jnp.ones_like(log_parameter),))


def slow_loss(late, onset, months, span):
    """A logistic rise from 0 at the start, as large as a steady loss at `span`."""
    middle, spread, width = late
    middle = middle + spread * 12**0.5 * (onset - 0.5)

    def rise(at):
        return jax.nn.sigmoid((at - middle) / width) - jax.nn.sigmoid(-middle / width)

    return span * rise(months) / rise(span)


def weather_root(priors, months):
    """Cholesky factor of the site's wander and season at `months`."""
    value = priors.value
    gap = np.abs(months[:, None] - months)
    cov = value("wander") ** 2 * np.exp(-gap / value("wander_length"))
    cov += value("season") ** 2 * np.exp(-2 * np.sin(np.pi * gap / value("year")) ** 2)
    grown = 1 - np.exp(-months / value("grow_in"))
    return np.linalg.cholesky(cov * np.outer(grown, grown) + 1e-12 * np.eye(months.size))


def known_of(site, priors, spreads):
    """All that the model is conditioned on, as arrays; each group has equally many panels."""
    value, spread = priors.value, priors.spread
    months = np.append(site.months, LATE)
    grown = 1 - np.exp(-months / value("grow_in"))
    shares, slow, scales = zip(*DISCRETE, strict=True)
    late = value("late_share")
    prior = {"drift": (1 - late) / 2, "drift_wide": (1 - late) / 2, "late": late}
    values = site.values.reshape(site.groups, -1, site.months.size)
    return {
        "read": ~np.isnan(values),
        "values": np.nan_to_num(values),
        "months": months,
        "dryness": np.append(site.dryness, 1.0) * grown,
        "weather": weather_root(priors, months),
        "span": value("span"),
        "rate": np.array([(np.log(priors.parameter(c)[0]), priors.parameter(c)[1])
                          for c in priors.courses]),
        "visit": np.array([value("visit"), spread("visit")]),
        "level": np.array([(value(c), spread(c)) for c in ("initial", "loss", "dryness")]),
        "between": np.array([value(f"{c}_between") for c in OWN]),
        "apart": np.array([value("apart"), spread("apart")]),
        "replicates": np.array([spreads.residual, spreads.initial, spreads.loss]),
        "share": np.array(shares),
        "slow": np.array([(value(kind), spread(kind)) for kind in slow]),
        "log_prior": np.log([prior[kind] for kind in slow]),
        "is_late": np.array([kind == "late" for kind in slow]),
        "late": np.array([value("late_onset"), spread("late_onset"), value("late_width")]),
        "drift_ratio": value("drift_between_ratio"),
        "scale": np.array(scales),
    }  # fmt: skip


def normal(name, *shape):
    return numpyro.sample(name, dist.Normal(0, 1).expand(shape).to_event(len(shape)))


def model(course, known):
    """One site. Axes: k combination, g group, p panel of it, v visit (the last one at LATE)."""
    months = known["months"]
    groups, panels, _ = known["values"].shape
    centre, spread = known["level"].T
    share, scale = known["share"], known["scale"]
    residual, initial, loss = known["replicates"]

    rate = known["rate"][course]
    phi, pace = course_of_loss(course, rate[0] + rate[1] * normal("rate"), months, known["span"])
    visit_sd = known["visit"][0] * jnp.exp(known["visit"][1] * normal("visit_sd"))
    site, own = normal("site", 3), normal("own", groups, 5)
    replicate, weather = normal("panel", groups, panels, 2), normal("weather", months.size)
    tail = numpyro.sample("tail", dist.StudentT(TAIL).expand((months.size,)).to_event(1))

    level = centre + spread * site
    far = known["apart"][0] * jnp.exp(known["apart"][1] * normal("apart"))
    own = own.at[:, 1:].multiply(far)
    a, l, c, dirt = (known["between"] * own[:, :4]).T[..., None]
    slow, wide = known["slow"].T[..., None]
    path = level[0] + a - (level[1] + l) * phi - centre[1] * c * pace + known["weather"] @ weather
    slope = slow + wide * (normal("slope") + known["drift_ratio"] * own[:, 4])
    onset = numpyro.sample("onset", dist.Uniform(0, 1))
    late = slow_loss(known["late"], onset, months, known["span"])
    run = jnp.where(known["is_late"][:, None, None], late, months)
    state = path - slope[..., None] * run  # k, g, v
    wet = -(level[2] + dirt) * known["dryness"]
    shared = state + (jnp.sqrt(share) * visit_sd)[:, None, None] * tail
    apart = initial * replicate[..., :1] - loss * replicate[..., 1:] * phi
    apart = scale[:, None, None, None] * apart  # k, g, p, v
    alike, noise = (1 - share) * visit_sd**2, (scale * residual) ** 2
    seen = ((shared + wet)[:, :, None] + apart)[..., :-1]
    log_density = known["log_prior"] + density(
        known, seen, noise[:, None, None], alike[:, None, None]
    )
    numpyro.factor("readings", jax.nn.logsumexp(log_density))
    repeat = jnp.sqrt(alike + noise / panels)[:, None] * normal("repeat", groups)
    numpyro.deterministic("log_density", log_density)
    numpyro.deterministic("state", state[..., -1])
    numpyro.deterministic("reading", shared[..., -1] + apart[..., -1].mean(2) + repeat)
    numpyro.deterministic("wet", wet[..., -1])


def density(known, expected, noise, alike):
    """Log density (K,) of readings that share a normal effect within group and visit."""
    apart = (known["values"] - expected) * known["read"]
    count = known["read"].sum(1)  # g, v
    both = noise + count * alike
    square = (apart**2).sum(2) - alike / both * apart.sum(2) ** 2
    log_det = ((count - 1) * jnp.log(noise) + jnp.log(both)) * (count > 0)
    return -(square / noise + log_det).sum((1, 2)) / 2


class Sampler:
    """NUTS with a dense mass matrix and short trees while it warms up, compiled once."""

    CHUNK = 200

    def __init__(self, known, warmup):
        known = {name: jnp.asarray(value) for name, value in known.items()}
        self.warmup = warmup
        self._kernel = NUTS(
            model,
            dense_mass=True,
            target_accept_prob=ACCEPT,
            max_tree_depth=(7, 10),
            init_strategy=init_to_uniform(radius=NEAR),
        )

        def step(state, course):
            state = self._kernel.sample(state, (course, known), {})
            seen = self._kernel.postprocess_fn((course, known), {})(state.z)
            wanted = ("log_density", "state", "reading", "wet")
            return state, {name: seen[name] for name in wanted}

        def chunk(state, course):
            return jax.lax.scan(lambda at, _: step(at, course), state, length=self.CHUNK)

        self._start = self._kernel.init(jax.random.key(0), warmup, None, (np.int32(0), known), {})
        self._advance = jax.jit(chunk).lower(self._start, np.int32(0)).compile()

    def draw(self, course, draws):
        """What the model tells, arrays of draws; CPU seconds of the warm-up and of the draws."""
        state = self._start._replace(rng_key=jax.random.key(course))
        parts, clock = [], [time.process_time()]
        for last in (self.warmup, self.warmup + draws):
            while int(state.i) < last:
                state, told = jax.block_until_ready(self._advance(state, np.int32(course)))
                parts.append(told)
            clock.append(time.process_time())
        kept = parts[self.warmup // self.CHUNK :]
        told = {name: np.concatenate([part[name] for part in kept]) for name in kept[0]}
        return told, np.diff(clock)


def targets(told, dryness_sd, random):
    """State and reading at LATE (D, 2 G): the combination drawn, then the dryness of the day."""
    weight = np.exp(told["log_density"] - told["log_density"].max(1, keepdims=True))
    share = weight.cumsum(1) / weight.sum(1, keepdims=True)
    chosen = (share < random.random((len(share), 1))).sum(1)
    rows = np.arange(len(share))
    dry = random.uniform(-1, 1, (len(share), 1)) * 3**0.5 * dryness_sd
    reading = told["reading"][rows, chosen] + told["wet"] * dry
    return np.concatenate([told["state"][rows, chosen], reading], axis=1)
