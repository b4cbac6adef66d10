"""docs/api.md, made of the docstrings: `python -m tests.campaigns.api_page` writes it; a test holds it to them."""

import inspect
import re
import textwrap
from pathlib import Path
from typing import Any

import calib
from calib.profile.arrays import Predictions, Pulls
from calib.profile.document import Prediction
from calib.profile.table import ForceEstimate, LengthEstimate

PAGE = Path(__file__).parents[2] / "docs" / "api.md"
METHODS = {
    "Profile": ("force", "pulls", "predict", "length", "estimate", "half_path_less_tape", "to_dataframe", "plot",
                "u95_next", "covariance", "to_json"),
    "Folder": ("found", "problems"),
    "Pulls": ("to_dataframe",),
}  # fmt: skip
RESULTS = (Pulls, Predictions, Prediction, ForceEstimate, LengthEstimate)
HEAD = """# From Python

Everything here is in the package `calib`; a name loads its module when it is first used, and numpy, scipy or matplotlib
only where they are needed. Lengths are half-path lengths in metres, pulls in newtons (9.80665 N are 1 kg). Errors are
`calib.BandcurveError`: `what` was wrong, `where`, and the `remedy`. `python -m tests.campaigns.api_page` makes this
page of the docstrings, and a test runs its examples.

In the examples `profile` is that of an invented band, `folder_path` a folder that holds it, `rig_path` a rig with two.
"""


def page() -> str:
    """The whole page."""
    names = [name for name in calib.__all__ if not name.startswith("__")]
    functions = [name for name in names if inspect.isfunction(getattr(calib, name))]
    parts = [HEAD, _body(calib.__doc__ or "").partition("\n\n")[2]]
    parts += [_function(f"calib.{name}", getattr(calib, name)) for name in functions]
    parts += [_class(f"calib.{name}", getattr(calib, name)) for name in ("Profile", "Folder")]
    parts += [_class(kind.__name__, kind) for kind in RESULTS]
    return "\n\n".join(part.strip() for part in parts) + "\n"


def _function(name: str, function: Any) -> str:
    return f"## {name}\n\n```\n{name}{_signature(function)}\n```\n\n{_body(inspect.getdoc(function) or '')}"


def _class(name: str, kind: type) -> str:
    parts = [f"## {name}", _body(inspect.getdoc(kind) or "")]
    for method in METHODS.get(kind.__name__, ()):
        found = inspect.getattr_static(kind, method)
        called = "" if isinstance(found, property) else _signature(getattr(kind, method))
        words = inspect.getdoc(found.fget if isinstance(found, property) else found) or ""
        parts.append(f"### {kind.__name__}.{method}\n\n```\n.{method}{called}\n```\n\n{_body(words)}")
    return "\n\n".join(parts)


def _signature(function: Any) -> str:
    """Without the types, which a reader of a page does not need, and without self."""
    signature = inspect.signature(function)
    kept = [
        p.replace(annotation=inspect.Parameter.empty) for n, p in signature.parameters.items() if n not in ("self",)
    ]
    made = str(signature.replace(parameters=kept, return_annotation=inspect.Signature.empty))
    return re.sub(r"PosixPath\('([^']*)'\)|WindowsPath\('([^']*)'\)", r"Path('\1\2')", made)


def _body(words: str) -> str:
    """A docstring as markdown: examples in fences, parts as lists."""
    out: list[str] = []
    for block in re.split(r"\n\n+", words.strip()):
        first = block.split("\n", 1)[0].strip()
        if first.startswith(">>>"):
            out.append(f"```python\n{textwrap.dedent(block)}\n```")
        elif first in ("Args:", "Returns:", "Raises:", "Attributes:"):
            lines = textwrap.dedent(block.split("\n", 1)[1])
            entries = re.sub(r"^(\w[\w, ]*): ", r"- `\1`: ", re.sub(r"\n {4,}", " ", lines), flags=re.MULTILINE)
            examples = entries.partition("\n>>>")
            out.append(f"{first[:-1]}:\n\n{examples[0]}")
        else:
            text, arrow, example = block.partition("\n>>>")
            out += [text] + ([f"```python\n>>>{example}\n```"] if arrow else [])
    return "\n\n".join(out)


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
