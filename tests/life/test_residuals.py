"""What must hold for what is left of any wait, over random laws, ages and numbers u."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from petsim.spec.laws import Distribution

times = st.floats(1, 1e6)
uniforms = st.floats(1e-6, 1 - 1e-6)
random = settings(max_examples=300, deadline=None, derandomize=True)


@st.composite
def laws(draw: st.DrawFn) -> Distribution:
    low, more, rest = draw(st.floats(0, 1e6)), draw(times), draw(times)
    return draw(
        st.sampled_from(
            (
                Distribution("fixed", (more,)),
                Distribution("uniform", (low, low + more)),
                Distribution("triangular", (low, low + more, low + more + rest)),
                Distribution("triangular", (low, low, low + more)),
                Distribution("exponential", (more,)),
                Distribution("weibull", (draw(st.floats(0.3, 10)), more)),
                Distribution("lognormal", (more, draw(st.floats(0.05, 3)))),
            )
        )
    )


@st.composite
def waits(draw: st.DrawFn) -> tuple[Distribution, int]:
    """A law and an age that its waits may have, with a chance to last that is not tiny."""
    law = draw(laws())
    age = round(draw(st.floats(0, 1)) * law.quantile(draw(uniforms)))
    assume(law.survival(age) > 1e-6)
    return law, age


@given(wait=waits(), u=uniforms)
@random
def test_it_is_the_quantile_of_what_is_left_of_the_chance(
    wait: tuple[Distribution, int], u: float
) -> None:
    law, age = wait
    over = 1 - law.survival(age)
    whole = law.quantile(over + u * (1 - over))
    # By that way the chance of lasting, above 1e-12 here, has an error of a few units of 2^-53:
    # relative to itself up to 1e-3. The part of the time that this moves is the least where waits
    # spread least.
    chance = (1 - over) * (1 - u)
    tolerance = 1e-9 + 1e-14 / chance
    assert abs(age + law.residual(u, age) - whole) <= tolerance * max(whole, age, 1) * 10


@given(wait=waits(), us=st.lists(uniforms, min_size=2, max_size=20))
@random
def test_it_never_falls_with_u(wait: tuple[Distribution, int], us: list[float]) -> None:
    law, age = wait
    left = [law.residual(u, age) for u in sorted(us)]
    assert all(b >= a - 1e-12 * (age + a) for a, b in pairwise(left))


@given(wait=waits(), u=uniforms)
@random
def test_it_ends_within_the_bounds_of_its_law(wait: tuple[Distribution, int], u: float) -> None:
    law, age = wait
    low, high = law.bounds()
    end = age + law.residual(u, age)
    assert end >= max(age, low - 1) - 1e-9 * age
    assert high is None or end <= high + 1 + 1e-9 * age


@given(wait=waits())
@random
def test_chance_to_last_is_never_more_for_the_older(wait: tuple[Distribution, int]) -> None:
    law, age = wait
    assert 0 <= law.survival(age + 1) <= law.survival(age) <= 1
