"""What Python is told of arguments of a wrong type: which, what it was, and what would be right."""

import json

import numpy as np
import pytest

import petsim
from petsim.errors import ArgumentError, SpecError
from petsim.study.search import first_with

MODEL = "lamplet-quick"
TWO = {"passes": "1,2", "checks.every": "1 h,2 h"}


@pytest.fixture(scope="module")
def batch():
    return petsim.batch(MODEL, "hourly", lives=2)


@pytest.fixture(scope="module")
def sweep(tmp_path_factory):
    out = tmp_path_factory.mktemp("sweep") / "a"
    return petsim.sweep(MODEL, ["hourly"], TWO, out=out, lives=2, keep=True)


@pytest.mark.parametrize("given", [None, 5, 1.5, [], b"x"])
@pytest.mark.parametrize(
    ("kind", "use"),
    [
        ("model", petsim.load_model),
        ("regime", petsim.load_regime),
        ("model", lambda x: petsim.simulate(x, "hourly")),
        ("regime", lambda x: petsim.simulate(MODEL, x)),
        ("regime", lambda x: petsim.compare(MODEL, ["hourly", x], lives=2)),
        ("regime", petsim.check_policy),
    ],
)
def test_what_is_no_file(kind, use, given):
    with pytest.raises(SpecError) as refused:
        use(given)
    assert str(refused.value) == (
        f"{kind}: found a Python object of type {type(given).__name__}; "
        "expected a name, a path, or its content as a mapping"
    )


def test_a_class_without_a_check_is_no_policy():
    class Nobody:
        def chek(self, look):
            return []

    with pytest.raises(petsim.PolicyError) as refused:
        petsim.simulate(MODEL, Nobody)
    assert str(refused.value) == "Nobody: found no check; expected def check(self, look)"


@pytest.mark.parametrize("use", [lambda **x: petsim.trials(3, 5, 0.5, **x),
                                 lambda **x: petsim.tell_apart(0.5, 0.9, **x)])  # fmt: skip
def test_a_misspelt_argument_is_refused_where_nothing_is_simulated(use):
    assert use(lives=3)
    with pytest.raises(TypeError, match="lvies"):
        use(lvies=3)


def test_a_model_that_a_regime_is_to_go_with_may_be_named():
    assert petsim.load_regime("hourly", MODEL) == petsim.load_regime("hourly")
    with pytest.raises(SpecError, match="found the unknown model 'lamplt'"):
        petsim.load_regime("hourly", "lamplt")


WHOLE = "expected a whole number"


@pytest.mark.parametrize(
    ("use", "message"),
    [
        (lambda new: new(points="5", sample="latin"), f"points: '5'; {WHOLE}"),
        (lambda new: new(points=1.5, sample="latin"), f"points: 1.5; {WHOLE}"),
        (lambda new: new(points=4, sample=5), "sample: 5; expected one of 'latin', 'sobol'"),
        (lambda new: new(points=4, sample=["latin"]), "sample: ['latin']; expected one of"),
        (lambda new: new(vary=None), "vary: None; expected a mapping of paths to their values"),
        (lambda new: new(vary="passes=1,2"), "vary: 'passes=1,2'; expected a mapping of paths"),
        (lambda new: new(vary={5: "1,2"}), "vary: {5: '1,2'}; expected a mapping of paths"),
        (lambda new: new(out=None), "'None': expected the name of a sweep, such as night1"),
        (lambda new: new(out=""), "'': expected the name of a sweep, such as night1"),
        (lambda new: new(keep="sums"), "keep: 'sums'; expected True or False"),
        (
            lambda new: new(aim=5),
            "aim: 5; expected a form, several of them, or what each of some is worth",
        ),
    ],
)
def test_a_sweep_that_is_none(use, message, tmp_path):
    def new(vary=TWO, out=tmp_path / "new", **options):
        return petsim.sweep(MODEL, ["hourly"], vary, out=out, lives=2, **options)

    with pytest.raises(ArgumentError) as refused:
        use(new)
    assert str(refused.value).startswith(message)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"points": "5"}, f"points: '5'; {WHOLE}"),
        ({"method": None}, "method: None; expected one of 'morris', 'sobol'"),
        ({"method": ["sobol"]}, "method: ['sobol']; expected one of 'morris', 'sobol'"),
        ({"vary": None}, "vary: None; expected a mapping of paths to their values"),
    ],
)
def test_a_sensitivity_that_is_none(options, message, tmp_path):
    options = {"vary": TWO, "points": 2} | options
    with pytest.raises(ArgumentError) as refused:
        petsim.sensitivity(MODEL, "hourly", out=tmp_path / "new", lives=2, **options)
    assert str(refused.value) == message


@pytest.mark.parametrize(
    ("use", "message"),
    [
        (lambda: petsim.compare(MODEL, None), "regimes: None; expected a list of one or more"),
        (lambda: petsim.compare(MODEL, 5), "regimes: 5; expected a list of one or more"),
        (lambda: petsim.simulate(MODEL, "hourly", days="5"), "days: '5'; expected from one"),
        (lambda: petsim.batch(MODEL, "hourly", lives="5"), f"lives: '5'; {WHOLE}"),
        (lambda: petsim.batch(MODEL, "hourly", lives=2, precision="1%"), "precision: '1%'; "),
        (lambda: petsim.batch(MODEL, "hourly", lives=2, engine=None), "engine: None; expected"),
        (lambda: petsim.trials("3", 5), f"trials: '3'; {WHOLE}"),
        (lambda: petsim.trials(3, None), f"trials: None; {WHOLE}"),
        (lambda: petsim.tell_apart(0.1, 0.5, rigs="2"), f"rigs: '2'; {WHOLE}"),
        (lambda: petsim.tell_apart(0.1, 0.5, days="7"), "days: '7'; expected a number above 0"),
        (lambda: petsim.open_sweep(None), "'None': expected the name of a sweep"),
        (
            lambda: petsim.plot("night1"),
            "result: a Python object of type str; expected what petsim's",
        ),
    ],
)
def test_arguments_of_a_wrong_type(use, message):
    with pytest.raises(ArgumentError) as refused:
        use()
    assert str(refused.value).startswith(message)


@pytest.mark.parametrize(
    ("use", "message"),
    [
        (lambda batch, sweep: batch.share(None), "outcome: None; expected one of 'beacon', "),
        (lambda batch, sweep: batch.plot(5), "kind: 5; expected one of 'odds', 'funnel', "),
        (lambda batch, sweep: batch.plot(["odds"]), "kind: ['odds']; expected one of 'odds', "),
        (lambda batch, sweep: sweep.model("1"), "cell: '1'; expected 0 to 3"),
        (lambda batch, sweep: sweep.caretaker(1.5), "cell: 1.5; expected 0 to 3"),
        (lambda batch, sweep: sweep.lives(4), "cell: 4; expected 0 to 3"),
        (lambda batch, sweep: sweep.differences("0"), "cell: '0'; expected 0 to 3"),
        (lambda batch, sweep: sweep.odds("becon"), "outcome: 'becon'; did you mean 'beacon'?"),
        (lambda batch, sweep: sweep.differences(0, ""), "outcome: ''; expected one of 'beacon', "),
        (lambda batch, sweep: sweep.means("mises"), "column: 'mises' is not summed; see petsim."),
        (lambda batch, sweep: sweep.plot("cost", work="presses"), "work: 'presses'; did you mean"),
        (lambda batch, sweep: sweep.export(None), "None: expected a name that ends in .csv, "),
        (lambda batch, sweep: sweep.export("a.csv", []), "what: []; expected one of 'odds', "),
    ],
)
def test_what_a_result_can_not_be_asked(use, message, batch, sweep):
    with pytest.raises(ArgumentError) as refused:
        use(batch, sweep)
    assert str(refused.value).startswith(message)


WORD = "expected a whole number from 0 to 2**64 - 1"


@pytest.mark.parametrize(
    "use",
    [
        lambda **x: petsim.simulate(MODEL, "hourly", days=1, **x),
        lambda **x: petsim.batch(MODEL, "hourly", lives=1, days=1, **x),
        lambda **x: petsim.compare(MODEL, ["hourly"], lives=1, days=1, **x),
        lambda **x: petsim.trials(1, 1, "hourly", model=MODEL, lives=1, **x),
        lambda **x: petsim.tell_apart("hourly", 0.9, model=MODEL, lives=1, **x),
        lambda **x: first_with("ember", MODEL, "hourly", lives=1, days=1, **x),
        lambda **x: petsim.Evaluator(MODEL, "hourly", **x),
    ],
)
def test_a_seed_is_a_word(use):
    for seed, shown in (
        (-1, "-1"), (2**64, str(2**64)), (10**5000, "a number of over 100 digits"), (1.0, "1.0"),
        (True, "True"), ("5", "'5'"), (None, "None"), (np.float64(2), repr(np.float64(2))),
    ):  # fmt: skip
        with pytest.raises(ArgumentError) as refused:
            use(seed=seed)
        assert str(refused.value) == f"seed: {shown}; {WORD}"
    assert use(seed=np.uint64(2**64 - 1))


def test_a_life_is_a_word():
    for life in (-1, 2**64, 1.5, True, np.bool_(True), "1", None):
        with pytest.raises(ArgumentError, match=r"^life: .*; expected a whole number from 0 to 2"):
            petsim.simulate(MODEL, "hourly", life=life, days=1)
    plain = petsim.simulate(MODEL, "hourly", life=3, days=1)
    of_numpy = petsim.simulate(MODEL, "hourly", life=np.int8(3), seed=np.int64(0), days=1)
    assert of_numpy.as_dict() == plain.as_dict()
    assert json.dumps(of_numpy.as_dict())


@pytest.mark.parametrize("name", ["lives", "workers"])
@pytest.mark.parametrize(
    ("number", "message"),
    [
        (True, f"True; {WHOLE}"),
        (2.0, f"2.0; {WHOLE}"),
        (0, "0; expected at least 1"),
        pytest.param(
            -(10**5000), "a number of over 100 digits; expected at least 1", id="far below"
        ),
        (2**63, f"{2**63}; expected at most 2**63 - 1"),
        pytest.param(
            10**5000, "a number of over 100 digits; expected at most 2**63 - 1", id="far above"
        ),
    ],
)
def test_how_many_is_a_whole_number(name, number, message):
    with pytest.raises(ArgumentError) as refused:
        petsim.batch(MODEL, "hourly", **{"lives": 1, "days": 1} | {name: number})
    assert str(refused.value) == f"{name}: {message}"


def test_numbers_of_numpy_are_numbers():
    made = petsim.batch(MODEL, "hourly", lives=np.int32(2), workers=np.int8(1), days=np.float32(1))
    assert len(made) == 2
    with pytest.raises(ArgumentError, match=r"^days: True; expected from one second"):
        petsim.batch(MODEL, "hourly", lives=2, days=True)
