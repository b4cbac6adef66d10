"""The one rule about imports, which files touch the world outside, and what a command may load."""

import ast
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from calib.finding import CODES
from calib.verbs.overview import COMMANDS, overview

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "calib"
ORDER = ("acquire", "fit", "profile", "use", "web", "verbs")
ROOFS = ("web", "verbs")  # beside each other: the page imports what the commands import, and none of them
HEAVY = ("numpy", "scipy", "matplotlib", "serial", "pydantic", "typer")
FILES = {p.relative_to(ROOT).with_suffix("").as_posix().replace("/", "."): p for p in PACKAGE.rglob("*.py")}
MODULES = {name.removesuffix(".__init__"): path for name, path in FILES.items() if path.name not in ("conftest.py",)}
STARTERS = {"calib", "calib.__main__"}  # they hand over to a room when asked, by design
TOUCH_THE_WORLD = {
    "calib.acquire.files.run_file",
    "calib.acquire.cell.port",
    "calib.acquire.cell.port_trouble",
    "calib.acquire.files.stream_file",
    "calib.acquire.recording.new_file",
    "calib.use.bands.calibrate",
    "calib.use.bands.box_folder",
    "calib.use.box.batch_work",
    "calib.use.box.fitting",
    "calib.use.box.laying_out",  # a box's files, all or none
    "calib.safe_read",
    "calib.safe_write",
    "calib.system",
    "calib.file_lock",
    "calib.stamp",  # the clock of entries
    "calib.profile.store.memory",
    "calib.profile.store.own_files",  # the files below a folder
    "calib.profile.store.cards",  # the folder at a glance
}


def _room(module: str) -> str:
    parts = module.split(".")
    return parts[1] if len(parts) > 1 and parts[1] in ORDER else "floor"


@cache
def _parsed(path: Path) -> ast.Module:
    """The syntax tree of a module, to be read only."""
    return ast.parse(path.read_text("utf-8"))


@cache
def _imports(path: Path) -> set[str]:
    """Names of this package's modules a file imports, wherever in it; those only for the type checker left out."""
    found: set[str] = set()
    tree = _parsed(path)
    for_types = {
        inner
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
        for part in node.body
        for inner in ast.walk(part)
    }
    for node in ast.walk(tree):
        if node in for_types:
            continue
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            found |= {f"{base}.{a.name}" if f"{base}.{a.name}" in MODULES else base for a in node.names}
    return {name for name in found if name == "calib" or name.startswith("calib.")}


@pytest.mark.parametrize("module", sorted(set(MODULES) - STARTERS))
def test_a_module_imports_from_its_own_room_rooms_to_the_left_and_the_floor(module: str) -> None:
    mine = _room(module)
    for other in _imports(MODULES[module]):
        theirs = _room(other)
        if mine == "verbs" or theirs == "floor":
            continue
        assert mine != "floor", f"{module} is of the floor and imports {other}"
        assert ORDER.index(theirs) <= ORDER.index(mine), f"{module} imports {other}, which lies to its right"


def test_no_module_imports_itself_by_a_detour() -> None:
    graph = {module: _imports(path) & set(MODULES) - {"calib"} for module, path in MODULES.items() if module != "calib"}
    done: set[str] = set()

    def visit(module: str, above: tuple[str, ...]) -> None:
        assert module not in above, " -> ".join((*above, module))
        if module not in done:
            for other in sorted(graph[module]):
                visit(other, (*above, module))
            done.add(module)

    for module in graph:
        visit(module, ())
    assert done == set(graph)


def test_imports_are_absolute() -> None:
    for module, path in MODULES.items():
        relative = [n for n in ast.walk(_parsed(path)) if isinstance(n, ast.ImportFrom) and n.level]
        assert not relative, module


_OUTSIDE_CALLS = re.compile(
    r"(?<![\w.])(open|input|print)\("
    r"|\.(open|read_text|read_bytes|write_text|write_bytes|unlink|mkdir|is_file|is_dir|exists|stat|iterdir|glob)\("
    r"|(?<![\w.])(datetime\.now|datetime\.utcnow|date\.today|time\.\w+|os\.\w+|sys\.(stdin|stdout|stderr)|subprocess\.)"
)


@pytest.mark.parametrize(
    "module", sorted(m for m in MODULES if _room(m) not in ROOFS and m not in TOUCH_THE_WORLD | STARTERS)
)
def test_files_clock_and_terminal_are_touched_in_few_modules(module: str) -> None:
    lines = _code_only(MODULES[module])
    touching = [line for line in lines if _OUTSIDE_CALLS.search(line)]
    assert not touching, f"{module} touches the world outside: {touching}"


def _code_only(path: Path) -> list[str]:
    """Each statement as text, without comments and docstrings."""
    tree = ast.parse(path.read_text("utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str):
            node.value = ast.Constant(value=0)
    return ast.unparse(tree).splitlines()


def test_the_search_for_outside_calls_finds_them() -> None:
    for line in ("open('x')", "path.read_text()", "now = datetime.now()", "print('x')", "time.sleep(1)"):
        assert _OUTSIDE_CALLS.search(line), line
    assert not _OUTSIDE_CALLS.search("reopen(x); self.time = 1; blueprint(2)")


def test_every_finding_code_is_documented_and_no_other() -> None:
    pages = re.findall(r"^## (\S+)$", (ROOT / "docs" / "findings.md").read_text("utf-8"), flags=re.MULTILINE)
    assert sorted(pages) == sorted(CODES)


def test_every_command_is_in_the_overview_and_in_the_package() -> None:
    for name, entry in COMMANDS.items():
        assert f"  {name} " in overview()
        assert entry.module in MODULES, f"{name} has no module"


def _loaded(arguments: list[str]) -> tuple[set[str], str]:
    """Top-level packages in memory after a command line has run in a process of its own, and what it printed."""
    code = (
        "import sys\nfrom calib.__main__ import main\n"
        "try:\n    main()\nexcept SystemExit as leaving:\n    assert not leaving.code, leaving.code\n"
        "print('LOADED', *sorted({m.split('.')[0] for m in sys.modules}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, cwd=ROOT, check=True
    )
    printed, _, loaded = done.stdout.rpartition("LOADED ")
    return set(loaded.split()), printed


@pytest.mark.parametrize("option", ["--help", "-h", "--version"])
def test_overview_and_version_load_nothing_heavy(option: str) -> None:
    loaded, printed = _loaded([option])
    assert "bandcurve" in printed
    assert not loaded & set(HEAVY)


@pytest.mark.parametrize(
    "arguments", [["predict", "--length", "1.6m"], ["predict", "--force", "15kg"], ["export", "--csv"]]
)
def test_reading_a_profile_loads_no_numerics(arguments: list[str]) -> None:
    loaded, printed = _loaded([*arguments, "tests/data/profiles/invented-1.0.profile.json"])
    assert printed
    assert not loaded & set(HEAVY)


@pytest.mark.parametrize(
    ("arguments", "may"),
    [
        (["show", "sample_runs/KNEE.profile.json"], set()),
        (["explain", "gross-error"], set()),
        (["list", "sample_runs"], {"numpy"}),
        (["history", "KNEE", "--folder", "sample_runs"], {"numpy"}),
        (["show", "sample_runs/KNEE.run.csv"], {"numpy", "scipy"}),
    ],
)
def test_a_command_loads_only_what_it_needs(arguments: list[str], may: set[str]) -> None:
    loaded, printed = _loaded(arguments)
    assert printed
    assert loaded & set(HEAVY) <= may


@pytest.mark.parametrize("kind", ["profile", "scale", "run", "series"])
def test_printing_a_schema_loads_no_scipy(kind: str) -> None:
    loaded, printed = _loaded(["schema", kind])
    assert f"urn:bandcurve:schema:{kind}:1" in printed
    assert not loaded & {"scipy", "matplotlib", "serial"}


def test_typer_and_pydantic_stand_behind_few_modules() -> None:
    """Help, completion and mistakes; schemas and what is wrong with a file."""
    importing = {
        name
        for name, path in MODULES.items()
        if re.search(r"^(import|from) (typer|pydantic)\b", path.read_text("utf-8"), re.MULTILINE)
    }
    behind = {"calib.verbs.full_line", "calib.verbs.terminal.help_pages", "calib.checked_words"}
    assert importing == behind | {"calib.profile.schema", "calib.use.report.answer_schema"}


def test_importing_the_package_is_light() -> None:
    code = "import sys, calib; print(*sorted({m.split('.')[0] for m in sys.modules}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert not set(done.stdout.split()) & set(HEAVY)


@pytest.mark.parametrize("name", list(COMMANDS))
def test_help_of_a_command_loads_no_numerics(name: str) -> None:
    loaded, printed = _loaded([name, "--help"])
    assert "Usage: bandcurve" in printed
    assert not loaded & {"scipy", "matplotlib", "serial"}


def test_no_class_name_stands_for_two_things() -> None:
    places: dict[str, list[str]] = {}
    for module, path in MODULES.items():
        for node in ast.walk(_parsed(path)):
            if isinstance(node, ast.ClassDef):
                places.setdefault(node.name, []).append(module)
    assert not {name: where for name, where in places.items() if len(where) > 1}


MOST_LINES, MOST_FILE, MOST_FILES = 40, 460, 20


def _own_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a body, its docstring left out: signature and docstring of a command are its help page."""
    body = function.body[1:] if ast.get_docstring(function) is not None else function.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def test_a_function_is_named_for_what_it_gives() -> None:
    vague = {"at", "of", "on", "said", "told", "took"}
    named = [
        f"{name}: {node.name}"
        for name, path in MODULES.items()
        for node in ast.walk(_parsed(path))
        if isinstance(node, ast.FunctionDef) and node.name.strip("_") in vague
    ]
    assert not named


def test_no_function_is_longer_than_a_screen() -> None:
    long = [
        f"{module}:{node.lineno} {node.name}: {_own_lines(node)}"
        for module, path in MODULES.items()
        for node in ast.walk(_parsed(path))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and _own_lines(node) > MOST_LINES
    ]
    assert not long


def test_no_file_and_no_room_is_too_large_to_look_through() -> None:
    lines = {module: path.read_text("utf-8").count("\n") for module, path in MODULES.items()}
    assert not {module: n for module, n in lines.items() if n > MOST_FILE}
    rooms: dict[Path, int] = {}
    for path in MODULES.values():
        if path.name != "__init__.py" and path.parent != PACKAGE:
            rooms[path.parent] = rooms.get(path.parent, 0) + 1
    assert not {room: n for room, n in rooms.items() if n > MOST_FILES}


def test_tests_stand_where_their_room_stands() -> None:
    """A folder of tests has the name of a room, or is one of the few that mirror no room."""
    rooms = {path.parent.relative_to(PACKAGE).as_posix() for path in MODULES.values()}
    beside = {".", "campaigns", "floor", "firmware", "sample_runs"}
    folders = {p.parent.relative_to(ROOT / "tests").as_posix() for p in (ROOT / "tests").rglob("test_*.py")}
    assert not {f for f in folders if f not in rooms | beside and not f.startswith("campaigns/")}
