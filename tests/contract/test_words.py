"""What must not be written: other machines' addresses, this one's paths, and words that call a tree safe."""

import ast
import re
import subprocess
from functools import cache
from pathlib import Path

import pytest
from babel.messages.extract import extract_from_dir

from layers.caution import CAUTION

ROOT = Path(__file__).parents[2]
BINARY = {".png", ".jpg", ".jpeg", ".gif", ".pdf", ".gpkg", ".ttf", ".ico", ".mo"}
THIS_FILE = "tests/contract/test_words.py"
HOSTS = (("pypi", "org"), ("pythonhosted", "org"), ("npmjs", "(?:org|com)"), ("conda", "io"))
PLACES_OF_PACKAGES = re.compile("|".join(rf"{name}\.{end}" for name, end in HOSTS))
MACHINE_PATHS = re.compile(r"(?<![\w.<])/(?:work|root|home|Users)/\w|[A-Z]:\\Users\\\w")
LEFT_UNDONE = re.compile(r"\b(?:TODO|FIXME|XXX|HACK)\b")
TRACKER = re.compile(r"\bissues? (?:no\. ?|number |#)?\d+|\b(?:refs|fixes|closes|see) #\d+", re.IGNORECASE)

# No text says that a tree is ...; what is refused is the claim, in any of its usual words.
CLAIMS = re.compile(
    r"\b(?:safe|safely|unsafe|sound|OK|okay|healthy|cleared|all clear|is clear|are clear|passed(?! over| on)|"
    r"(?:low|no|minor|negligible) risk|no action|good condition|harmless|nothing to worry)\b",
    re.IGNORECASE,
)
DENIED = re.compile(r"\bnot been found sound\b|\bnot (?:a |an )?(?:safe|sound)\b", re.IGNORECASE)


@cache
def tracked():
    """Every text file of the repository, as git knows it."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout
    return [name for name in listed.split("\0") if name and (ROOT / name).is_file() and name != THIS_FILE]


@cache
def texts():
    return {
        name: (ROOT / name).read_text(encoding="utf-8", errors="replace")
        for name in tracked()
        if Path(name).suffix not in BINARY
    }


def found(pattern):
    return [f"{name}: {match.group()}" for name, text in texts().items() for match in pattern.finditer(text)]


def test_the_check_finds_a_place_of_packages():
    assert PLACES_OF_PACKAGES.search("https://files." + "pythonhosted" + ".org/x")


def test_there_are_texts_to_judge():
    assert len(texts()) > 50


def test_no_text_names_where_packages_come_from():
    assert found(PLACES_OF_PACKAGES) == []


def test_no_text_holds_a_path_of_the_machine_it_was_written_on():
    assert found(MACHINE_PATHS) == []


def test_nothing_is_left_to_be_done_later():
    assert found(LEFT_UNDONE) == []


def test_no_text_points_into_a_tracker():
    assert found(TRACKER) == []


def test_the_top_level_holds_only_what_it_must():
    top = {name.split("/")[0] for name in [*tracked(), THIS_FILE]}
    folders = {"service", "layers", "tests", "sample_sites", ".ci"}
    files = {"README.md", "DEVELOPERS.md", "pyproject.toml", "Makefile", "LICENSE"}
    locks = {"requirements.lock", "requirements-run.lock"}
    assert top - folders - files - locks <= {".gitignore", ".gitattributes"}


def messages():
    """Every text of the pages, as the translators get it."""
    methods = [("**.py", "python"), ("**/templates/**.html", "jinja2.ext.babel_extract")]
    for name, line, message, _, _ in extract_from_dir(ROOT / "service", methods):
        for text in message if isinstance(message, tuple) else (message,):
            yield f"service/{name}:{line}", text


def strings(folder):
    """Every text constant of the modules of a folder, docstrings left out."""
    for path in sorted((ROOT / folder).rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        documented = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
        docs = {
            ast.get_docstring(node, clean=False) for node in ast.walk(tree) if isinstance(node, documented)
        }
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value not in docs:
                yield f"{path.relative_to(ROOT)}:{node.lineno}", node.value


def script_strings():
    """Every quoted text of our own scripts."""
    for path in sorted((ROOT / "service/web/static").glob("*.js")):
        for match in re.finditer(r"\"([^\"\n]*)\"|'([^'\n]*)'|`([^`]*)`", path.read_text(encoding="utf-8")):
            yield path.name, next(group for group in match.groups() if group is not None)


def claims(said):
    technical = re.compile(r"'unsafe-inline'|\bsafe_\w+")
    bare = ((where, DENIED.sub("", technical.sub("", text))) for where, text in said)
    return [f"{where}: {match.group()!r}" for where, text in bare for match in CLAIMS.finditer(text)]


def test_no_page_calls_a_tree_safe():
    assert claims(messages()) == []


@pytest.mark.parametrize("folder", ["layers", "service/cli", "service/outlets", "service/web"])
def test_no_word_of_ours_calls_a_tree_safe(folder):
    assert claims(strings(folder)) == []


def test_no_script_calls_a_tree_safe():
    assert claims(script_strings()) == []


@pytest.mark.parametrize(
    "text", ["This tree is safe.", "OK", "Inspection passed", "low risk", "All clear", "found sound"]
)
def test_the_check_finds_a_claim(text):
    assert claims([("here", text)])


def test_the_caution_denies_and_claims_nothing():
    assert "not been found sound" in CAUTION
    assert claims([("caution", CAUTION)]) == []
