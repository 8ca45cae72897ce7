"""The page of what is promised under which fault names tests that there are."""

import re
from pathlib import Path

TESTS = Path(__file__).parents[1]
PAGE = (Path(__file__).parent / "README.md").read_text(encoding="utf-8")


def test_all_files_and_tests_of_the_page_are_there():
    sources = {path: path.read_text(encoding="utf-8") for path in TESTS.rglob("*.py")}
    files = {f"/{path.relative_to(TESTS.parent).as_posix()}" for path in sources}
    defined = re.findall(r"def (test_\w+)\(", "\n".join(sources.values()))
    for name in re.findall(r"`(\S+)`", PAGE):
        if name.endswith(".py"):
            assert any(file.endswith(f"/{name}") for file in files), name
        elif name.startswith("test_"):
            beginning = name.removesuffix("...")
            assert any(test.startswith(beginning) for test in defined), name
