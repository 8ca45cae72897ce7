"""What holds for all tests."""

import pytest

import petsim


def pytest_addoption(parser):
    parser.addoption(
        "--long", action="store_true", help="live 100 times as many lives in tests/theory"
    )


@pytest.fixture(scope="session", autouse=True)
def _engine_is_compiled() -> None:
    """The notice that the engine is being compiled comes before any test that looks at output."""
    petsim.batch("lamplet-quick", "hands-off", lives=1, engine="compiled")
