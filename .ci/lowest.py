"""Print the oldest release of each dependency that pyproject.toml allows, as pip's constraints."""

import re
import tomllib
from pathlib import Path

project = tomllib.loads(Path("pyproject.toml").read_text(encoding="utf-8"))["project"]
optional = project["optional-dependencies"].values()
for requirement in dict.fromkeys(sum(optional, project["dependencies"])):
    if bound := re.match(r"([\w.-]+)>=([\w.]+)", requirement):
        print(f"{bound[1]}=={bound[2]}")
