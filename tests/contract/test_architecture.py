"""Who may import whom, how long things may be, and that every module is named for developers."""

import ast
import re
import sys
from collections import defaultdict
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("service", "layers")
MODULES = sorted(
    path.relative_to(ROOT).as_posix()
    for package in PACKAGES
    for path in (ROOT / package).rglob("*.py")
    if "node_modules" not in path.parts
)
MAX_MODULE_LINES = 400
MAX_FUNCTION_LINES = 60
BROAD_CATCHES = {"service/cli/main.py", "service/web/problems.py"}

NUMERIC = {"numpy", "pandas", "geopandas", "shapely", "pyproj", "scipy", "rapidfuzz", "pint"}
DRAWING = {"folium", "branca", "matplotlib", "PIL"}
WORLD = {  # of the standard library: network, clock, environment, processes, databases
    *("os", "sys", "socket", "ssl", "urllib", "http", "ftplib", "smtplib", "subprocess", "multiprocessing"),
    *("time", "sqlite3", "dbm", "shelve", "tempfile", "shutil", "logging", "signal", "asyncio"),
}
ONLY = {  # a library, and the only modules that may speak it
    "sqlalchemy": ("service/store/",),
    "alembic": ("service/store/",),
    "flask": ("service/web/", "service/app.py"),
    "flask_babel": ("service/web/", "service/app.py"),
    "flask_wtf": ("service/web/", "service/app.py"),
    "werkzeug": ("service/web/", "service/app.py"),
    "click": ("service/cli/",),
}


@cache
def tree_of(module):
    return ast.parse((ROOT / module).read_text(encoding="utf-8"), module)


def path_of(dotted):
    """The file of a dotted name in the two packages, or None."""
    base = dotted.replace(".", "/")
    return next((path for path in (f"{base}.py", f"{base}/__init__.py") if path in MODULES), None)


@cache
def imports_of(module):
    """Every dotted name a module imports, those inside functions too."""
    names = set()
    for node in ast.walk(tree_of(module)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            below = {f"{node.module}.{alias.name}" for alias in node.names}
            names |= {name if path_of(name) else node.module for name in below}
    return frozenset(names)


def libraries_of(module):
    return {name.split(".")[0] for name in imports_of(module)} - set(PACKAGES)


def functions_of(module):
    kinds = ast.FunctionDef | ast.AsyncFunctionDef
    return [node for node in ast.walk(tree_of(module)) if isinstance(node, kinds)]


def test_there_are_modules_to_judge():
    assert len(MODULES) > 20


def test_no_import_goes_round_in_a_circle():
    graph = {module: {path_of(name) for name in imports_of(module)} - {None, module} for module in MODULES}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        pytest.fail(" -> ".join(error.args[1]))


@pytest.mark.parametrize("module", [module for module in MODULES if module.startswith("layers/")])
def test_layers_compute_and_touch_nothing_else(module):
    assert not {name for name in imports_of(module) if name.split(".")[0] == "service"}
    allowed = NUMERIC | DRAWING | (set(sys.stdlib_module_names) - WORLD)
    assert libraries_of(module) <= allowed


@pytest.mark.parametrize("module", [module for module in MODULES if module.startswith("layers/")])
def test_layers_have_no_clock(module):
    asked = {node.attr for node in ast.walk(tree_of(module)) if isinstance(node, ast.Attribute)}
    assert not asked & {"now", "today", "utcnow"}


@pytest.mark.parametrize("library", ONLY)
def test_each_library_of_the_world_is_spoken_in_one_place(library):
    speakers = {module for module in MODULES if library in libraries_of(module)}
    assert speakers, f"nobody speaks {library}: take it off the list"
    assert {module for module in speakers if not module.startswith(ONLY[library])} == set()


def test_only_settings_read_the_environment():
    readers = set()
    for module in MODULES:
        for node in ast.walk(tree_of(module)):
            attribute = isinstance(node, ast.Attribute) and node.attr in ("environ", "getenv", "environb")
            name = isinstance(node, ast.alias) and node.name in ("environ", "getenv", "environb")
            if attribute or name:
                readers.add(module)
    assert readers == {"service/settings.py"}


def test_only_the_command_line_prints():
    printers = {
        module
        for module in MODULES
        for node in ast.walk(tree_of(module))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print"
    }
    assert {module for module in printers if not module.startswith("service/cli/")} == set()


def test_nobody_takes_what_another_module_keeps_to_itself():
    taken = [
        f"{module}: {alias.name}"
        for module in MODULES
        for node in ast.walk(tree_of(module))
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in PACKAGES
        for alias in node.names
        if alias.name.startswith("_")
    ]
    assert taken == []


def test_everything_is_caught_in_two_places_only():
    broad = {
        module
        for module in MODULES
        for node in ast.walk(tree_of(module))
        if isinstance(node, ast.ExceptHandler)
        and (node.type is None or (isinstance(node.type, ast.Name) and node.type.id == "Exception"))
    }
    assert broad <= BROAD_CATCHES


def lines_of(function):
    """The lines of a function; its docstring is counted as prose, not as code."""
    first, last = function.body[0], function.end_lineno
    told = ast.get_docstring(function) is not None
    return last - function.lineno + 1 - (first.end_lineno - first.lineno + 1 if told else 0)


@pytest.mark.parametrize("module", MODULES)
def test_modules_and_functions_are_short(module):
    assert len((ROOT / module).read_text(encoding="utf-8").splitlines()) <= MAX_MODULE_LINES
    lengths = {function.name: lines_of(function) for function in functions_of(module)}
    assert {name: lines for name, lines in lengths.items() if lines > MAX_FUNCTION_LINES} == {}


@pytest.mark.parametrize("module", [module for module in MODULES if module.endswith("__init__.py")])
def test_packages_hold_a_docstring_and_nothing_else(module):
    body = tree_of(module).body
    assert [type(node) for node in body] in ([], [ast.Expr])


def test_base_names_are_unique():
    by_name = defaultdict(list)
    for module in MODULES:
        if "/migrations/" not in module and not module.endswith("__init__.py"):
            by_name[Path(module).stem].append(module)
    double = {name: found for name, found in by_name.items() if len(found) > 1}
    assert double.pop("errors") == ["layers/errors.py", "service/errors.py"]
    assert double == {}


def developers_md():
    return (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_developers_md_names_every_module():
    """By its path, or by a row for its folder such as ``service/web/*``."""
    named = set(re.findall(r"(?:layers|service)/[\w/.*]+", developers_md()))
    missing = [
        module
        for module in MODULES
        if not module.endswith("__init__.py")
        and module not in named
        and not any(f"{parent.as_posix()}/*" in named for parent in Path(module).parents)
    ]
    assert missing == []


def test_developers_md_names_no_module_that_is_not_there():
    named = set(re.findall(r"(?:layers|service)/[\w/]+\.py", developers_md()))
    assert named - set(MODULES) == set()
