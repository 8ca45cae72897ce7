"""Which part of the package may import which, and what importing it costs."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import petsim

PACKAGE = Path(petsim.__file__).parent
MODULES = sorted(PACKAGE.rglob("*.py"))
LAYERS = (
    *("_version", "errors", "spec", "life", "study", "evidence", "advice"),
    *("theory", "view", "cli", "__main__"),
)
SLOW = ("jinja2", "matplotlib", "numba", "numpy", "pandas", "pydantic", "scipy", "simpy", "yaml")


def imported(path: Path) -> set[str]:
    """The modules that a file imports, also those for type checking only."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: a relative import"
            assert node.module is not None
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return found


def layer(module: str) -> str:
    """The part of the package a module belongs to; the package itself is none."""
    parts = module.split(".")
    return parts[1] if parts[0] == "petsim" and len(parts) > 1 and parts[1] in LAYERS else ""


def name(path: Path) -> str:
    return ".".join(("petsim", *path.relative_to(PACKAGE).with_suffix("").parts))


@pytest.mark.parametrize("path", MODULES, ids=name)
def test_imports_flow_one_way(path: Path) -> None:
    own = layer(name(path))
    below = {layer(module) for module in imported(path)} - {""}
    if own:
        allowed = set(LAYERS[: LAYERS.index(own) + 1])
        assert below <= allowed, f"{name(path)} imports from {sorted(below - allowed)}"
    else:
        assert path == PACKAGE / "__init__.py"


def test_every_layer_is_there() -> None:
    assert {layer(name(path)) for path in MODULES} == {"", *LAYERS}


@pytest.mark.parametrize("path", MODULES, ids=name)
def test_only_plots_draw_pictures(path: Path) -> None:
    draws = any(module.split(".")[0] == "matplotlib" for module in imported(path))
    assert not draws or name(path).startswith("petsim.view.plots")


def test_results_that_can_be_drawn_load_no_pictures() -> None:
    program = (
        "import sys; from petsim import Batch, Comparison, Life, Sweep; "
        "Batch.plot, Comparison.plot, Life.plot, Sweep.plot; "
        "print(*(m for m in sys.modules if m.startswith(('matplotlib', 'petsim.view'))))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout == "\n"


@pytest.mark.parametrize(
    "code",
    [
        "import petsim",
        "import petsim; dir(petsim)",
        "from petsim.cli import main; main(['--help'])",
        "from petsim.cli import main; main(['compare', '--help'])",
        "from petsim.cli import main; main(['plot', '--help'])",
        "from petsim.cli import main; main(['help'])",
        "from petsim.cli import main; main(['help', 'models'])",
        "import os; from petsim.cli import main; os.environ.update(COMP_WORDS='petsim run ho', "
        "COMP_CWORD='2', _PETSIM_COMPLETE='bash_complete'); main()",
    ],
)
def test_these_load_nothing_slow(code: str) -> None:
    program = (
        f"import sys\ntry:\n    {code}\nexcept SystemExit:\n    pass\n"
        f"print('loaded:', *(set({SLOW!r}) & sys.modules.keys()))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "loaded:"


def test_an_answer_waits_for_no_other_answer_and_for_no_compiler() -> None:
    program = (
        "import sys; from petsim.cli import main\n"
        "try:\n    main(['compare', 'ten-minute', '--lives', '2'])\nexcept SystemExit:\n    pass\n"
        "others = ('petsim.advice', 'petsim.evidence', 'petsim.theory', 'matplotlib')\n"
        "print('loaded:', *({*others, 'numba.np.linalg'} & {*sys.modules}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "loaded:"


@pytest.mark.parametrize(
    ("code", "others"),
    [
        ("from petsim.view import report", ("matplotlib", "petsim.advice", "petsim.evidence")),
        ("from petsim.view import beside", SLOW),
        ("from petsim.view import plots", ("numba",)),
    ],
)
def test_a_page_waits_for_nothing_that_is_not_on_it(code: str, others: tuple[str, ...]) -> None:
    program = f"import sys; {code}; print('loaded:', *(set({others!r}) & sys.modules.keys()))"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout == "loaded:\n"


def test_the_check_for_slow_modules_can_fail() -> None:
    program = f"import sys, petsim.spec.model; print(*(set({SLOW!r}) & sys.modules.keys()))"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert {*done.stdout.split()} == {"pydantic", "yaml"}


def test_every_public_name_is_there() -> None:
    assert {"compare", "simulate", "load_model", "Policy"} <= set(dir(petsim))
    for public in dir(petsim):
        assert hasattr(petsim, public)
    # and nothing that is there for its own use
    assert {"Any", "Drawn", "Shown", "import_module"}.isdisjoint(dir(petsim))


def test_an_unknown_public_name_is_told_as_python_does() -> None:
    with pytest.raises(AttributeError, match=r"^module 'petsim' has no attribute 'simulates'$"):
        _ = petsim.simulates
